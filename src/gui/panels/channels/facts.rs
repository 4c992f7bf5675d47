//! What a card says of its channel.

use crate::engine::caption::hours_minutes;
use crate::engine::lines::{self, Passing};
use crate::engine::recipe::Channel;
use crate::work::desk::Layer;

/// Its id, where that says more than the line.
pub fn own_id(channel: &Channel) -> Option<&str> {
    (!channel.id.eq_ignore_ascii_case(&channel.line)).then_some(channel.id.as_str())
}

/// Wavelength and width, as far as they are known.
pub fn light(channel: &Channel) -> Vec<String> {
    let line = lines::line(&channel.line);
    let mut facts = Vec::new();
    match (channel.center_nm, line) {
        (Some(nm), _) => facts.push(format!("{nm:.1} nm")),
        (None, Some(line)) if !line.is_broad() => facts.push(format!("{:.1} nm", line.center_nm)),
        (None, Some(_)) => facts.push("broadband".to_owned()),
        (None, None) => {}
    }
    if let Some(width) = channel.width_nm {
        facts.push(format!("{} nm wide", short(width)));
    }
    facts
}

/// What else the filter lets through: on the card, and in full.
pub fn neighbours(channel: &Channel) -> Option<(String, String)> {
    let line = lines::line(&channel.line).filter(|line| !line.is_broad())?;
    let center = channel.center_nm.unwrap_or(line.center_nm);
    let passing = lines::also_passes(&line.id, center, channel.width_nm?);
    let symbol = |passing: &Passing| {
        lines::line(&passing.line).map_or(passing.line.clone(), |line| line.symbol.clone())
    };
    let mut symbols: Vec<String> = passing.iter().map(symbol).collect();
    symbols.dedup();
    let shares: Vec<String> = passing
        .iter()
        .map(|one| {
            let (symbol, nm, share) = (symbol(one), one.wavelength_nm, 100.0 * one.share);
            format!("{symbol} {nm:.1} nm: {share:.0} %")
        })
        .collect();
    (!symbols.is_empty()).then(|| {
        (
            format!("+ {}", symbols.join(", ")),
            format!(
                "A filter this wide lets neighbours through as well, by the usual model:\n{}",
                shares.join("\n")
            ),
        )
    })
}

/// Total exposure.
pub fn exposure(channel: &Channel, layer: Option<&Layer>) -> Option<String> {
    channel
        .exposure_s
        .or(layer.and_then(|layer| layer.exposure_s))
        .map(hours_minutes)
}

/// Signal to noise.
pub fn signal(layer: &Layer) -> Option<String> {
    let ratio = layer.signal_to_noise?;
    Some(if ratio < 10.0 {
        format!("S/N {ratio:.1}")
    } else {
        format!("S/N {ratio:.0}")
    })
}

/// How well it lies on the grid.
pub fn alignment(layer: &Layer) -> Option<String> {
    let entry = layer.align.as_ref()?;
    Some(match (entry.stars, entry.rms_px, entry.method.as_str()) {
        (Some(stars), Some(rms), _) => format!("{stars} stars, {rms:.2} px"),
        (Some(stars), None, _) => format!("{stars} stars"),
        (None, _, "wcs") => "aligned by world coordinates".to_owned(),
        (None, _, "given") => "aligned by a given matrix".to_owned(),
        (None, ..) => "aligned".to_owned(),
    })
}

/// The sky model that was taken out.
pub fn sky(layer: &Layer) -> Option<String> {
    let entry = layer.level.as_ref()?;
    let kind = match entry.kind.as_str() {
        "polynomial of degree 1" => "plane",
        kind if kind.starts_with("polynomial") => "curved surface",
        kind if kind.starts_with("spline") => "smooth surface",
        kind => kind,
    };
    Some(match entry.amplitude_over_noise {
        Some(ratio) if ratio < 10.0 => format!("sky: {kind}, {ratio:.1} × noise"),
        Some(ratio) => format!("sky: {kind}, {ratio:.0} × noise"),
        None => format!("sky: {kind}"),
    })
}

/// At most two decimals, none that are 0.
fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::short;

    #[test]
    fn numbers_carry_no_idle_zeros() {
        assert_eq!(short(5.0), "5");
        assert_eq!(short(6.5), "6.5");
        assert_eq!(short(100.0), "100");
    }
}

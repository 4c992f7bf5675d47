//! What a record claims of its composite, beside what comes out again.

use crate::io::record::{AssignmentEntry, Input, Record, StarsEntry};
use crate::work::describe;

/// So many differences are named.
const NAMED: usize = 8;

/// What is claimed that a recipe alone tells: colours. None where they hold, as
/// far as that goes.
pub(super) fn of_recipe(record: &Record) -> Option<(bool, String)> {
    let recipe = &record.recipe;
    let rendition = recipe.rendition(&record.rendition)?;
    let anew = describe::entries(recipe, rendition, record.composite.space).ok()?;
    let mut differ = Vec::new();
    assignments(&record.assignments, &anew, &mut differ);
    (!differ.is_empty()).then(|| verdict(differ))
}

/// All that is claimed, beside the record `anew` of the same composite.
pub(super) fn all(record: &Record, anew: &Record) -> Option<(bool, String)> {
    let mut differ = Vec::new();
    assignments(&record.assignments, &anew.assignments, &mut differ);
    for input in &record.inputs {
        let same = anew
            .inputs
            .iter()
            .find(|other| other.channel == input.channel);
        match same {
            Some(other) => inputs(input, other, &mut differ),
            None => differ.push(format!("{} takes no part", input.channel)),
        }
    }
    for other in &anew.inputs {
        if !record.inputs.iter().any(|own| own.channel == other.channel) {
            differ.push(format!("the input {} is left out", other.channel));
        }
    }
    let (own, other) = (&record.composite, &anew.composite);
    if (own.width, own.height) != (other.width, other.height) {
        differ.push(format!(
            "size {} x {}, not {} x {}",
            other.width, other.height, own.width, own.height
        ));
    }
    if record.integration_s != anew.integration_s {
        let (is, was) = (anew.integration_s, record.integration_s);
        differ.push(format!("exposure of all {}", instead(is, was)));
    }
    if record.crop != anew.crop {
        differ.push("the part that was kept".to_owned());
    }
    // Records of the first builds do not tell it.
    if record.seen.is_some() && record.seen != anew.seen {
        differ.push("what the picture looks like (`seen`)".to_owned());
    }
    // Other versions find other words for the same.
    let same_words = record.software == anew.software && record.seen.is_some();
    if same_words && record.caption != anew.caption {
        differ.push("the caption".to_owned());
    }
    Some(verdict(differ))
}

fn verdict(mut differ: Vec<String>) -> (bool, String) {
    if differ.is_empty() {
        return (true, "as they come out again".to_owned());
    }
    let more = differ.len().saturating_sub(NAMED);
    differ.truncate(NAMED);
    if more > 0 {
        differ.push(format!("{more} more"));
    }
    (false, format!("come out otherwise: {}", differ.join("; ")))
}

fn assignments(own: &[AssignmentEntry], anew: &[AssignmentEntry], differ: &mut Vec<String>) {
    for entry in own {
        let id = &entry.channel;
        let Some(other) = anew.iter().find(|other| other.channel == *id) else {
            differ.push(format!("{id} has no colour"));
            continue;
        };
        // Records of the first builds do not tell what is shown.
        let shown = match &entry.shown {
            Some(_) => other.shown.clone(),
            None => None,
        };
        let other = AssignmentEntry {
            shown,
            ..other.clone()
        };
        if entry.word() != other.word() {
            let (is, was) = (other.word(), entry.word());
            differ.push(format!("colour of {id} {is}, not {was}"));
        } else if entry.line != other.line || entry.name != other.name {
            differ.push(format!("line of {id} {}, not {}", other.name, entry.name));
        } else if *entry != other {
            differ.push(format!("figures of {id}'s colour or passband"));
        }
    }
    for other in anew {
        if !own.iter().any(|entry| entry.channel == other.channel) {
            differ.push(format!("the colour of {} is left out", other.channel));
        }
    }
}

fn inputs(own: &Input, anew: &Input, differ: &mut Vec<String>) {
    let id = &own.channel;
    if own.exposure_s != anew.exposure_s {
        let words = instead(anew.exposure_s, own.exposure_s);
        differ.push(format!("exposure of {id} {words}"));
    }
    let keywords = own.header.keys().chain(anew.header.keys());
    let cards: std::collections::BTreeSet<&String> = keywords
        .filter(|keyword| own.header.get(*keyword) != anew.header.get(*keyword))
        .collect();
    if !cards.is_empty() {
        let cards: Vec<&str> = cards.into_iter().map(String::as_str).collect();
        differ.push(format!("header of {id}: {}", cards.join(", ")));
    }
    let parts = [
        ("size", (own.width, own.height) == (anew.width, anew.height)),
        ("sky", own.sky == anew.sky),
        ("noise", own.noise == anew.noise),
        ("alignment", own.align == anew.align),
        ("sky glow", own.level == anew.level),
        ("continuum", own.continuum == anew.continuum),
        ("smoothing", own.noise_smoothed == anew.noise_smoothed),
    ];
    for (what, holds) in parts {
        if !holds {
            differ.push(format!("{what} of {id}"));
        }
    }
    differ.extend(stars(id, own.stars.as_ref(), anew.stars.as_ref()));
}

// How stars were told apart; by another method other bits come out.
fn stars(id: &str, own: Option<&StarsEntry>, anew: Option<&StarsEntry>) -> Option<String> {
    let other = matches!((own, anew), (Some(own), Some(anew)) if own.method != anew.method);
    let by = if other {
        " (told apart by another version of Linehue: the build that the record names makes them again)"
    } else {
        ""
    };
    (own != anew).then(|| format!("stars of {id}{by}"))
}

// "3600 s, not 36000 s"
fn instead(is: Option<f64>, was: Option<f64>) -> String {
    let words = |seconds: Option<f64>| {
        seconds.map_or("unknown".to_owned(), |seconds| format!("{seconds} s"))
    };
    format!("{}, not {}", words(is), words(was))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Who made a record with an earlier build is not told that it was edited.
    #[test]
    fn stars_told_apart_by_another_method_are_named_so() {
        let now = StarsEntry {
            stars: 5,
            saturated: 0,
            fwhm_px: Some(3.0),
            with: vec!["oiii".to_owned()],
            method: "together".to_owned(),
        };
        assert_eq!(stars("ha", Some(&now), Some(&now)), None);
        let edited = StarsEntry {
            stars: 6,
            ..now.clone()
        };
        let said = stars("ha", Some(&edited), Some(&now));
        assert_eq!(said.as_deref(), Some("stars of ha"));
        assert_eq!(
            stars("ha", None, Some(&now)).as_deref(),
            Some("stars of ha")
        );
        let first = StarsEntry {
            with: Vec::new(),
            method: String::new(),
            ..now.clone()
        };
        let said = stars("ha", Some(&first), Some(&now)).expect("they differ");
        assert!(said.contains("another version"), "{said}");
    }
}

//! What a finish changes, and what it leaves alone.

use super::*;
use crate::engine::recipe::BalancedBy;

fn recipe(lines: &[(&str, &str)]) -> Recipe {
    let mut text = "recipe = 1\n".to_owned();
    for (place, (id, line)) in lines.iter().enumerate() {
        let black = 10 * (place + 1);
        text.push_str(&format!(
            "[[channel]]\nid = \"{id}\"\nfile = \"{id}.fits\"\nline = \"{line}\"\n\
             [channel.stretch]\nblack = {black}\nwhite = {}\n",
            100 * black
        ));
    }
    let first = lines[0].0;
    text.push_str(&format!(
        "[[rendition]]\nid = \"r\"\ncolors = {{ {first} = \"#fff\" }}\n"
    ));
    crate::engine::recipe::text::parse(&text, "test").expect("sound")
}

fn broad() -> Recipe {
    recipe(&[("ha", "Ha"), ("l", "L"), ("r", "R"), ("g", "G"), ("b", "B")])
}

fn own(recipe: &Recipe) -> &Rendition {
    &recipe.renditions[0]
}

#[test]
fn stars_as_they_are_leave_no_word_in_the_recipe() {
    let before = broad();
    let mut look = StarLook {
        show: ShowStars::Neutral,
        size: 0.5,
        brightness: 2.0,
    };
    let after = with_stars(&before, "r", look).expect("holds");
    assert_eq!(own(&after).stars, Some(look));
    let plain = with_stars(&after, "r", StarLook::default()).expect("holds");
    assert_eq!(plain, before);
    look.size = 0.2;
    assert_eq!(with_stars(&before, "r", look), None, "finer than a pixel");
}

#[test]
fn broadband_stars_need_all_three_bands() {
    assert_eq!(stars_hindered(&broad(), ShowStars::Broadband), None);
    let two = recipe(&[("ha", "Ha"), ("r", "R"), ("b", "B")]);
    let why = stars_hindered(&two, ShowStars::Broadband).expect("no G");
    assert!(why.contains("channel of G"), "{why}");
    assert_eq!(stars_hindered(&two, ShowStars::Neutral), None);
}

#[test]
fn the_picture_before_noise_reduction_differs_in_nothing_else() {
    let before = broad();
    let one = denoised(&before, "ha", 0.4).expect("holds");
    assert_eq!(one.channels[0].denoise, Some(0.4));
    assert!(is_smoothed(&one, own(&one)) && !is_smoothed(&before, own(&before)));
    let all = all_denoised(&one, 0.7).expect("holds");
    assert!(
        all.channels
            .iter()
            .all(|channel| channel.denoise == Some(0.7))
    );
    let mut smooth = with_smooth_color(&all, "r", 0.5).expect("holds");
    unsmoothed(&mut smooth);
    assert_eq!(smooth, before);
    assert_eq!(all_denoised(&all, 0.0).expect("holds"), before);
}

#[test]
fn brightness_begins_from_the_channels_own_stretches() {
    // ha 10..1000, l 20..2000 by 1 and 3: (10 + 60) / 4 and (1000 + 6000) / 4.
    let weights = BTreeMap::from([("ha".to_owned(), 1.0), ("l".to_owned(), 3.0)]);
    let stretch = own_stretch(&broad(), &weights).expect("there are channels");
    assert_eq!((stretch.black, stretch.white), (17.5, 1750.0));
    assert_eq!(own_stretch(&broad(), &BTreeMap::new()), None);

    let mixed = brightened(&broad(), "r", Some(Luminance::of(weights))).expect("holds");
    let mixed = with_own_stretch(&mixed, "r", Some(stretch)).expect("holds");
    let mixed = with_detail(&mixed, "r", 0.6).expect("holds");
    let alone = reweighted(&mixed, "r", BTreeMap::from([("l".to_owned(), 1.0)])).expect("holds");
    let luminance = own(&alone).luminance.as_ref().expect("it has one");
    assert_eq!(luminance.detail, Some(0.6));
    assert_eq!(luminance.stretch.as_ref().expect("its own").black, 20.0);
    assert_eq!(with_detail(&broad(), "r", 0.6), None, "the mix has none");
}

#[test]
fn a_gain_by_hand_forgets_what_was_measured() {
    let measured = Balance {
        gains: [1.2, 1.0, 0.9],
        sky: Some([1.0, 2.0, 3.0]),
        by: BalancedBy::Stars,
        uncertainty: Some([0.01; 3]),
        stars: Some(214),
        catalogue: None,
    };
    let before = balanced(&broad(), "r", Some(measured)).expect("holds");
    let after = with_gain(&before, "r", 2, 1.5).expect("holds");
    let balance = own(&after).balance.clone().expect("it has one");
    assert_eq!(balance.gains, [1.2, 1.0, 1.5]);
    assert_eq!(balance.sky, Some([1.0, 2.0, 3.0]));
    assert_eq!((balance.by, balance.stars), (BalancedBy::Hand, None));
    assert_eq!(balance.uncertainty, None);
    assert_eq!(with_gain(&before, "r", 3, 1.0), None);
}

#[test]
fn a_balance_is_for_what_shows_broad_bands() {
    let recipe = broad();
    assert!(!is_balanceable(&recipe, own(&recipe)));
    let stars = StarLook {
        show: ShowStars::Broadband,
        ..StarLook::default()
    };
    let after = with_stars(&recipe, "r", stars).expect("holds");
    assert!(is_balanceable(&after, own(&after)));
    let shown = crate::work::mixing::added(&recipe, "r", "g").expect("holds");
    assert!(is_balanceable(&shown, own(&shown)));
}

#[test]
fn only_broad_channels_take_the_continuum_out_of_narrow_ones() {
    let recipe = broad();
    assert_eq!(
        continuum_sources(&recipe, &recipe.channels[0]),
        [1, 2, 3, 4]
    );
    assert!(continuum_sources(&recipe, &recipe.channels[1]).is_empty());
    let by = |from: &str| {
        let scale = Some(0.1);
        let from = from.to_owned();
        without_continuum(&recipe, "ha", Some(Continuum { from, scale }))
    };
    assert!(by("r").is_some() && by("ha").is_none() && by("none").is_none());
}

#[test]
fn true_color_takes_the_emission_that_stands_free_of_stars() {
    let recipe = broad();
    let why = true_color_with_emission(&recipe, "t").expect_err("no emission");
    assert!(why.contains("continuum"), "{why}");
    let from = Continuum {
        from: "r".to_owned(),
        scale: None,
    };
    let recipe = without_continuum(&recipe, "ha", Some(from)).expect("holds");
    let made = true_color_with_emission(&recipe, "t").expect("all there");
    assert_eq!(
        made.colors.keys().collect::<Vec<_>>(),
        ["b", "g", "ha", "r"]
    );
    assert!(
        made.colors
            .values()
            .all(|color| *color == ColorValue::Natural)
    );
    let light = made.luminance.clone().expect("there is an L");
    assert_eq!(light.from.keys().collect::<Vec<_>>(), ["l"]);
    let mut with = recipe;
    with.renditions.push(made);
    assert_eq!(check::whole(&with), Ok(()));
}

#[test]
fn a_channel_that_leaves_takes_what_hung_on_it_along() {
    let from = Continuum {
        from: "r".to_owned(),
        scale: None,
    };
    let recipe = without_continuum(&broad(), "ha", Some(from)).expect("holds");
    let stars = StarLook {
        show: ShowStars::Broadband,
        size: 0.8,
        brightness: 1.0,
    };
    let recipe = with_stars(&recipe, "r", stars).expect("holds");
    let left = without_channel(&recipe, "r").expect("something is left");
    assert_eq!(left.channels[0].continuum, None);
    assert_eq!(own(&left).star_look().show, ShowStars::Neutral);
    assert_eq!(own(&left).star_look().size, 0.8);
    assert_eq!(without_channel(&recipe, "ha"), None, "all that is shown");
}

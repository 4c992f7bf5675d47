//! `linehue balance`: the white balance of R, G and B.

use std::path::PathBuf;

use serde_json::json;

use super::terminal::{Terminal, json};
use super::{Error, Outcome};
use crate::engine::color::space::Space;
use crate::engine::compose::Composition;
use crate::engine::frame::Depth;
use crate::engine::lines::line;
use crate::engine::recipe::balance::{beyond, permitted};
use crate::engine::recipe::{Balance, Recipe, Rendition, ShowStars};
use crate::work::balance::{BalanceBy, Measured, balanced, of_recipe};
use crate::work::inputs::{folder_of, spare};
use crate::work::recipe_file::{self, Written};

/// Measure the white balance of R, G and B
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  linehue balance lantern.toml --stars
  linehue balance lantern.toml --catalogue stars.csv -o balanced.toml
  linehue balance lantern.toml --star 410.5,233 --rendition natural -o balanced.toml
  linehue balance lantern.toml --gains 1.3,1,0.85 -o balanced.toml

Without -o the lines for the recipe are printed. With it, red and blue also take
green's stretch above their own skies: equal light is grey from black to white;
the recipe's comments and layout are kept.
A catalogue is a CSV file with columns ra and dec (degrees or h m s), and b-v or
bp-rp; the reference needs world coordinates for it.")]
#[command(group = clap::ArgGroup::new("how").required(true))]
pub struct Arguments {
    /// The recipe
    recipe: PathBuf,

    /// The average of the field's stars is white
    #[arg(long, group = "how")]
    stars: bool,

    /// The star at this place is white: pixels of the cropped grid, from 0
    #[arg(long, value_name = "X,Y", value_delimiter = ',', group = "how")]
    star: Option<Vec<f64>>,

    /// This part of the picture is grey
    #[arg(
        long,
        value_name = "X,Y,WIDTH,HEIGHT",
        value_delimiter = ',',
        group = "how"
    )]
    patch: Option<Vec<usize>>,

    /// Stars have the colours that this CSV file says
    #[arg(long, value_name = "FILE", group = "how")]
    catalogue: Option<PathBuf>,

    /// These factors, each from 0.000001 to 1000000
    #[arg(long, value_name = "R,G,B", value_delimiter = ',', group = "how")]
    gains: Option<Vec<f64>>,

    /// Which rendition [default: the first that shows R, G or B]
    #[arg(long, value_name = "ID")]
    rendition: Option<String>,

    /// Where the recipe goes that has it
    #[arg(short, long, value_name = "RECIPE")]
    output: Option<PathBuf>,

    /// Print it as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn run(arguments: &Arguments, terminal: &Terminal) -> Result<Outcome, Error> {
    let recipe = recipe_file::read(&arguments.recipe)?;
    let rendition = rendition(&recipe, arguments.rendition.as_deref())?;
    if !shows_a_band(&recipe, rendition) {
        terminal.notes(&[format!(
            "{} shows none of R, G and B: a white balance changes nothing in it",
            rendition.id
        )]);
    }
    let rendition = rendition.id.clone();
    let folder = folder_of(&arguments.recipe);
    let stacks: Vec<PathBuf> = recipe
        .channels
        .iter()
        .map(|channel| folder.join(&channel.file))
        .collect();
    if let Some(output) = &arguments.output {
        spare(&stacks, &[output])?;
    }
    let measured = match by(arguments)? {
        Ok(by) => of_recipe(&recipe, folder, &by, terminal.control())?,
        Err(gains) => Measured {
            balance: Balance {
                gains,
                sky: None,
                by: Default::default(),
                uncertainty: None,
                stars: None,
                catalogue: None,
            },
            notices: Vec::new(),
        },
    };
    terminal.notes(&measured.notices);
    let balance = &measured.balance;
    let after = balanced(&recipe, &rendition, balance).ok_or_else(|| {
        let [r, g, b] = balance.gains;
        Error::request(
            format!("the recipe does not hold with the gains {r}, {g} and {b}"),
            format!(
                "balance by something else, or give the gains, {}",
                permitted()
            ),
        )
    })?;
    if let Some(output) = &arguments.output {
        let after = moved_to(after, folder, folder_of(output));
        // The text of a pipe is gone once it was read.
        let own = Some(arguments.recipe.as_path()).filter(|own| own.is_file());
        let written = recipe_file::write(output, own, &after)?;
        if own.is_none() || written == Written::Anew {
            terminal.notes(&[format!(
                "{}: written anew, because the recipe's own text could not be edited; comments \
                 in it are not kept",
                output.display()
            )]);
        }
        terminal.say(&format!("{} has it", output.display()));
    }
    if arguments.json {
        json(
            terminal,
            &json!({ "rendition": rendition, "balance": balance }),
        )?;
    } else {
        terminal.result(&format!("{}\n", lines(&rendition, balance)?.trim_end()))?;
    }
    Ok(Outcome::Done)
}

// By what it is measured, or given gains.
fn by(arguments: &Arguments) -> Result<Result<BalanceBy, [f64; 3]>, Error> {
    fn exactly<T: Copy, const N: usize>(key: &str, values: &[T]) -> Result<[T; N], Error> {
        values.try_into().map_err(|_| {
            Error::request(
                format!("--{key} takes {N} numbers, not {}", values.len()),
                "write them with commas between and no blanks",
            )
        })
    }
    Ok(if let Some(gains) = &arguments.gains {
        let gains = exactly("gains", gains)?;
        if let Some(gain) = beyond(&gains) {
            return Err(Error::request(
                format!("--gains has {gain}, which no recipe may have"),
                format!("give three factors for R, G and B, {}", permitted()),
            ));
        }
        Err(gains)
    } else if let Some(path) = &arguments.catalogue {
        Ok(BalanceBy::Catalogue(path.clone()))
    } else if let Some(place) = &arguments.star {
        Ok(BalanceBy::Star(exactly("star", place)?))
    } else if let Some(part) = &arguments.patch {
        Ok(BalanceBy::Patch(exactly("patch", part)?))
    } else {
        Ok(BalanceBy::Stars)
    })
}

fn rendition<'a>(recipe: &'a Recipe, id: Option<&str>) -> Result<&'a Rendition, Error> {
    let found = match id {
        Some(_) => Some(crate::work::compose::pick_rendition(recipe, id)?),
        None => {
            let bands = ["R", "G", "B"].map(|band| recipe.band(band).map(|c| &c.id));
            let shows = |id: &&String| bands.contains(&Some(*id));
            let mut renditions = recipe.renditions.iter();
            renditions.find(|rendition| {
                rendition.star_look().show == ShowStars::Broadband
                    || rendition.colors.keys().any(|id| shows(&id))
            })
        }
    };
    found.ok_or_else(|| {
        Error::request(
            "no rendition shows R, G or B",
            "name one whose stars are to have their colours, with --rendition",
        )
    })
}

// Whether a channel of R, G or B takes part in the picture: by its colour, by the
// stars' or by the brightness.
fn shows_a_band(recipe: &Recipe, rendition: &Rendition) -> bool {
    let composition = Composition::new(recipe, rendition, Space::Srgb, Depth::Sixteen);
    composition.is_ok_and(|composition| {
        let mut lines = composition
            .channels()
            .filter_map(|index| line(&recipe.channels[index].line));
        lines.any(|line| ["R", "G", "B"].contains(&line.id.as_str()))
    })
}

// Files are named from the new recipe's folder.
fn moved_to(mut recipe: Recipe, from: &std::path::Path, to: &std::path::Path) -> Recipe {
    let real = |path: &std::path::Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
    if real(from) != real(to) {
        for channel in &mut recipe.channels {
            channel.file = crate::work::inputs::relative(to, &from.join(&channel.file));
        }
    }
    recipe
}

fn lines(rendition: &str, balance: &Balance) -> Result<String, Error> {
    let table = toml::to_string(balance)
        .map_err(|error| Error::request(format!("no TOML: {error}"), "use --json"))?;
    Ok(format!(
        "# in the [[rendition]] {rendition}\n[rendition.balance]\n{}",
        table.trim_end()
    ))
}

//! Lines and exposures, and the colours that they have in each rendition.

use super::content::{Content, Line};
use super::html::Html;

/// Writes the table. A row is a row to a reader's machine too where a narrow
/// screen shows it as a paragraph: roles are said where `display` would take
/// them away.
pub fn write(html: &mut Html, content: &Content) {
    html.line().open("section", &[("aria-labelledby", "lines")]);
    html.leaf("h2", &[("id", "lines")], "Lines and exposures");
    html.open("table", &[("role", "table"), ("aria-labelledby", "lines")]);
    let mut columns = vec![
        "Line",
        "Wavelength",
        "Filter width",
        "Also passes",
        "Exposure",
    ];
    columns.extend(content.parts.iter().map(|part| part.label.as_str()));
    html.line().open("thead", &[("role", "rowgroup")]);
    html.open("tr", &[("role", "row")]);
    for column in &columns {
        html.leaf("th", &[("scope", "col"), ("role", "columnheader")], column);
    }
    html.close().close();
    html.line().open("tbody", &[("role", "rowgroup")]);
    for line in &content.lines {
        row(html, line, &columns);
    }
    html.close().close();
    if let Some(all) = &content.integration {
        html.open("p", &[("class", "total")]);
        html.words("Total exposure: ")
            .leaf("strong", &[], all)
            .close();
    }
    html.close();
}

fn row(html: &mut Html, line: &Line, columns: &[&str]) {
    html.line().open("tr", &[("role", "row")]);
    html.open("th", &[("scope", "row"), ("role", "rowheader")]);
    html.words(&line.symbol);
    html.words(" ").leaf("small", &[], &line.name).close();
    let words = [&line.wavelength, &line.width, &line.also, &line.exposure];
    let unknown = ["not known", "not known", "no other line", "not known"];
    for ((words, unknown), column) in words.iter().zip(unknown).zip(&columns[1..]) {
        html.open("td", &[("role", "cell"), ("data-column", column)]);
        let words = if words.is_empty() { unknown } else { words };
        html.leaf("span", &[], words).close();
    }
    for ((color, role), column) in line.colors.iter().zip(&line.roles).zip(&columns[5..]) {
        html.open("td", &[("role", "cell"), ("data-column", column)]);
        html.open("span", &[]);
        if let Some((css, word)) = color {
            html.open(
                "svg",
                &[
                    ("class", "chip"),
                    ("viewBox", "0 0 16 16"),
                    ("aria-hidden", "true"),
                ],
            );
            html.leaf(
                "rect",
                &[
                    ("x", "0.5"),
                    ("y", "0.5"),
                    ("width", "15"),
                    ("height", "15"),
                    ("rx", "3"),
                    ("fill", css),
                ],
                "",
            );
            html.close().words(word);
        } else {
            html.words("no colour");
        }
        html.close();
        if !role.is_empty() {
            html.words(" ").leaf("small", &[], role);
        }
        html.close();
    }
    html.close();
}

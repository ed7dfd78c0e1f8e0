//! The README's picture of a report is what the tool draws today: three charts of the demo, cut from its page.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

/// Charts in the picture, by their captions, each with its place: left and top edge.
const SHOWN: [(&str, f64, f64); 3] = [
    ("Position while learning, touches marked", 0.0, 0.0),
    ("Deviation, and the hysteresis band", 0.0, 290.0),
    ("50 % step, opening", 368.0, 290.0),
];
const CAPTION_HEIGHT: f64 = 20.0;
const SIZE: (f64, f64) = (720.0, 560.0);
const MARGIN: f64 = 16.0;

fn kept() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("pictures/report.svg")
}

fn between<'a>(text: &'a str, from: &str, to: &str) -> &'a str {
    let start = text.find(from).unwrap_or_else(|| panic!("the report has no {from:?}")) + from.len();
    let length = text[start..].find(to).unwrap_or_else(|| panic!("nothing ends with {to:?}"));
    &text[start..start + length]
}

/// One chart of the page with its caption, moved to its place.
fn chart(page: &str, caption: &str, left: f64, top: f64) -> String {
    let after = &page[page.find(&format!("<figcaption>{caption}")).expect(caption)..];
    let figure = &after[..after.find("</figure>").expect("a figure ends")];
    let drawing =
        &figure[figure.find("<svg class=\"wide\"").or(figure.find("<svg class=\"any\"")).expect("a chart")..];
    let drawing = &drawing[..drawing.find("</svg>").expect("a drawing ends") + "</svg>".len()];
    let size = between(drawing, "viewBox=\"0 0 ", "\"").split_once(' ').expect("width and height");
    let y = top + CAPTION_HEIGHT;
    let placed = drawing.replacen(
        "<svg ",
        &format!("<svg x=\"{left}\" y=\"{y}\" width=\"{}\" height=\"{}\" ", size.0, size.1),
        1,
    );
    format!("<text class=\"caption\" x=\"{left}\" y=\"{}\">{caption}</text>\n{placed}\n", top + 12.0)
}

fn picture() -> String {
    let scratch = tempfile::tempdir().expect("a scratch folder");
    let out = scratch.path().join("demo");
    let mut demo = Command::cargo_bin("vanebench").expect("the tool");
    demo.args(["demo", "--seed", "1", "--out"]).arg(&out).assert().success();
    let page = fs::read_to_string(out.join("report.html")).expect("the demo writes a report");
    let style = between(&page, "<style>", "</style>");
    let (width, height) = (SIZE.0 + 2.0 * MARGIN, SIZE.1 + 2.0 * MARGIN);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"{} {} {width} {height}\" font-family=\"Helvetica, Arial, sans-serif\">\n\
         <style>{style}\nsvg .caption {{ font-size: 13px; font-weight: 600; }} svg .paper {{ fill: var(--paper); }}</style>\n\
         <rect class=\"paper\" x=\"{}\" y=\"{}\" width=\"{width}\" height=\"{height}\"/>\n",
        -MARGIN, -MARGIN, -MARGIN, -MARGIN
    );
    for (caption, left, top) in SHOWN {
        write!(svg, "{}", chart(&page, caption, left, top)).expect("a string takes everything");
    }
    svg + "</svg>\n"
}

#[test]
fn the_picture_in_the_readme_is_what_the_tool_draws() {
    let kept = fs::read_to_string(kept()).expect("rigs/bench/pictures/report.svg");
    assert!(
        kept == picture(),
        "the report is drawn differently now: cargo test -p vanebench --test pictures -- --ignored renews the picture"
    );
}

#[test]
#[ignore = "writes the picture anew"]
fn renew_the_picture() {
    fs::write(kept(), picture()).expect("the picture is written");
}

//! A folder that a person named.

use std::fmt;
use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

use plant::files::{TOML_LIMIT, text_of, write_together};

use crate::exit::Failure;

/// The file that lists, in plain words, what was made in a folder.
const MARKER: &str = "made-by-vanebench.txt";

/// The verb whose folder it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Maker {
    /// `demo`
    Demo,
    /// `simulate`
    Simulate,
    /// `match`
    Match,
    /// `profile characterise`
    Characterise,
    /// `campaign guard`
    GuardCampaign,
    /// `campaign SCENARIO`
    ScenarioCampaign,
}

impl fmt::Display for Maker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Demo => "demo",
            Self::Simulate => "simulate",
            Self::Match => "match",
            Self::Characterise => "profile characterise",
            Self::GuardCampaign => "campaign guard",
            Self::ScenarioCampaign => "campaign SCENARIO",
        })
    }
}

/// A folder that holds nothing, or only what the same verb made before.
#[derive(Debug)]
pub struct OutFolder {
    dir: PathBuf,
    maker: Maker,
    /// What it holds of before, deepest last: files and folders.
    before: Vec<PathBuf>,
}

impl OutFolder {
    /// Looks at the folder, which may be missing; changes nothing.
    ///
    /// # Errors
    /// When it holds anything that `maker` did not make, or cannot be read.
    pub fn claim(dir: &Path, maker: Maker) -> Result<Self, Failure> {
        if dir.exists() && !dir.is_dir() {
            return Err(Failure::usage(format!(
                "{}: is not a folder. Nothing was touched. Name a new or empty folder with --out.",
                dir.display()
            )));
        }
        let mut before = Vec::new();
        match walk(dir, Path::new(""), &mut before) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            walked => walked.map_err(trouble(dir))?,
        }
        let made = if before.is_empty() { Some(Vec::new()) } else { listed(dir, maker) };
        let foreign = |entry: &&PathBuf| match &made {
            Some(made) => *entry != Path::new(MARKER) && !covers(dir, made, entry),
            None => *entry != Path::new(MARKER),
        };
        match before.iter().find(foreign) {
            None => Ok(Self { dir: dir.to_owned(), maker, before }),
            Some(entry) => Err(Failure::usage(format!(
                "{}: holds {}, which `vanebench {maker}` did not put there. Nothing was touched. Give a \
                 new or empty folder with --out, or move that away.",
                dir.display(),
                entry.display()
            ))),
        }
    }

    /// Where it is.
    #[must_use]
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    /// Removes what was made before and says that `will_hold` is to come; a name with `/` at its end is a folder
    /// with all that will be in it.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn clear_for(&mut self, will_hold: &[&str]) -> Result<(), Failure> {
        let trouble = trouble(&self.dir);
        for entry in self.before.drain(..).rev() {
            let path = self.dir.join(entry);
            let is_folder = fs::symlink_metadata(&path).map_err(&trouble)?.is_dir();
            if is_folder { fs::remove_dir(&path) } else { fs::remove_file(&path) }.map_err(&trouble)?;
        }
        fs::create_dir_all(&self.dir).map_err(&trouble)?;
        self.write_list(will_hold.iter().map(ToString::to_string))
    }

    /// Lists what the folder now holds: all of it was made by this verb.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn close(self) -> Result<(), Failure> {
        let mut found = Vec::new();
        walk(&self.dir, Path::new(""), &mut found).map_err(trouble(&self.dir))?;
        let files = found.iter().filter(|entry| !self.dir.join(entry).is_dir());
        self.write_list(files.map(|entry| slashed(entry)).filter(|name| name != MARKER))
    }

    /// Puts these files in the place of those of before, all or none.
    ///
    /// # Errors
    /// When the system refuses.
    pub fn replace(mut self, files: &[(&str, &[u8])]) -> Result<(), Failure> {
        self.before.retain(|entry| !files.iter().any(|(name, _)| Path::new(name) == entry));
        self.before.retain(|entry| entry != Path::new(MARKER));
        let text = marker_text(self.maker, files.iter().map(|(name, _)| (*name).to_owned()));
        let marker = (self.dir.join(MARKER), text.as_bytes());
        let files = files.iter().map(|(name, bytes)| (self.dir.join(name), *bytes));
        fs::create_dir_all(&self.dir).map_err(trouble(&self.dir))?;
        let all: Vec<_> = std::iter::once(marker).chain(files).collect();
        write_together(&all).map_err(Failure::undetermined)?;
        // What the new run does not make: pages of other names.
        for entry in self.before {
            fs::remove_file(self.dir.join(entry)).map_err(trouble(&self.dir))?;
        }
        Ok(())
    }

    fn write_list(&self, entries: impl Iterator<Item = String>) -> Result<(), Failure> {
        let text = marker_text(self.maker, entries);
        write_together(&[(self.dir.join(MARKER), text.as_bytes())]).map_err(Failure::undetermined)
    }
}

fn trouble(dir: &Path) -> impl Fn(io::Error) -> Failure {
    move |error| Failure::undetermined(format!("{}: {error}. Give another folder with --out.", dir.display()))
}

/// Everything in a folder, relative to it, a folder before what is in it. Links are not followed.
fn walk(dir: &Path, inside: &Path, found: &mut Vec<PathBuf>) -> io::Result<()> {
    let mut entries: Vec<_> = fs::read_dir(dir.join(inside))?.collect::<Result<_, _>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let path = inside.join(entry.file_name());
        found.push(path.clone());
        if entry.file_type()?.is_dir() {
            walk(dir, &path, found)?;
        }
    }
    Ok(())
}

fn marker_text(maker: Maker, entries: impl Iterator<Item = String>) -> String {
    let head = format!(
        "{}The next `vanebench {maker}` with this folder as --out replaces what is listed here and touches\n\
         nothing else; it does not start when it finds anything more. Keep nothing of your own here.\n\n",
        first_line(maker)
    );
    entries.fold(head, |text, entry| text + &entry + "\n")
}

fn first_line(maker: Maker) -> String {
    format!("This folder was made by `vanebench {maker}`.\n")
}

/// What the marker lists; nothing where there is none, or another verb's.
fn listed(dir: &Path, maker: Maker) -> Option<Vec<String>> {
    let text = text_of(&dir.join(MARKER), TOML_LIMIT).ok()?;
    let (head, list) = text.split_once("\n\n")?;
    head.starts_with(first_line(maker).trim_end()).then(|| list.lines().map(str::to_owned).collect())
}

/// Whether an entry is what the list names: a file of ours, or a folder that leads to one. A link is neither.
fn covers(dir: &Path, made: &[String], entry: &Path) -> bool {
    let Ok(kind) = fs::symlink_metadata(dir.join(entry)).map(|found| found.file_type()) else { return false };
    let name = slashed(entry);
    made.iter().any(|made| {
        let within_folder = made.ends_with('/') && format!("{name}/").starts_with(made);
        let leads_there = kind.is_dir() && made.starts_with(&format!("{name}/"));
        (kind.is_file() && *made == name) || (within_folder && !kind.is_symlink()) || leads_there
    })
}

fn slashed(path: &Path) -> String {
    let names = path.components().map(Component::as_os_str).map(|name| name.to_string_lossy().into_owned());
    names.collect::<Vec<_>>().join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put(dir: &Path, name: &str) {
        let path = dir.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, "x").unwrap();
    }

    fn names(dir: &Path) -> Vec<String> {
        let mut found = Vec::new();
        walk(dir, Path::new(""), &mut found).unwrap();
        found.iter().map(|entry| slashed(entry)).collect()
    }

    #[test]
    fn what_was_made_is_replaced_and_what_was_added_stops_it() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        let mut first = OutFolder::claim(dir, Maker::Demo).unwrap();
        first.clear_for(&["job.json", "units/"]).unwrap();
        put(dir, "units/u/0001-learn/run.toml");
        put(dir, "job.json");
        first.close().unwrap();
        put(dir, "units/u/notes.txt");
        let refused = OutFolder::claim(dir, Maker::Demo).unwrap_err();
        assert!(refused.message.contains("units/u/notes.txt"), "{refused}");
        fs::remove_file(dir.join("units/u/notes.txt")).unwrap();
        OutFolder::claim(dir, Maker::Simulate).unwrap_err();
        OutFolder::claim(dir, Maker::Demo).unwrap().clear_for(&["job.json"]).unwrap();
        assert_eq!(names(dir), [MARKER]);
    }

    #[test]
    fn a_run_that_was_cut_short_is_replaced_whole() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        OutFolder::claim(dir, Maker::Demo).unwrap().clear_for(&["units/"]).unwrap();
        put(dir, "units/u/0001-learn/run.toml");
        OutFolder::claim(dir, Maker::Demo).unwrap().clear_for(&["units/"]).unwrap();
        assert_eq!(names(dir), [MARKER]);
        put(dir, "other");
        OutFolder::claim(dir, Maker::Demo).unwrap_err();
    }

    #[test]
    fn pages_of_other_names_go_and_a_list_that_points_outside_reaches_nothing() {
        let dir = tempfile::tempdir().unwrap();
        let (outside, dir) = (dir.path().join("outside"), dir.path().join("out"));
        fs::write(&outside, "x").unwrap();
        let claim = || OutFolder::claim(&dir, Maker::Match).unwrap();
        claim().replace(&[("a.csv", b"1"), ("b.csv", b"1")]).unwrap();
        fs::write(dir.join(MARKER), fs::read_to_string(dir.join(MARKER)).unwrap() + "../outside\n").unwrap();
        claim().replace(&[("b.csv", b"2"), ("c.csv", b"2")]).unwrap();
        assert_eq!(names(&dir), ["b.csv", "c.csv", MARKER]);
        assert!(outside.exists());
    }

    #[cfg(unix)]
    #[test]
    fn a_link_in_the_place_of_what_was_made_is_not_ours() {
        let dir = tempfile::tempdir().unwrap();
        let (far, dir) = (dir.path().join("far"), dir.path().join("out"));
        fs::create_dir(&far).unwrap();
        OutFolder::claim(&dir, Maker::Demo).unwrap().clear_for(&["units/"]).unwrap();
        std::os::unix::fs::symlink(&far, dir.join("units")).unwrap();
        assert!(OutFolder::claim(&dir, Maker::Demo).unwrap_err().message.contains("units"));
    }
}

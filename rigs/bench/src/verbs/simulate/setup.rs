//! What `simulate` runs: every controller with every turbo, each under a name of its own.
//!
//! In: the scenario, files of controller settings and parts sheets. Out: setups in the order in which they were
//! asked for. Refuses files that cannot be used, each with its line and field.

use std::path::Path;

use firmware_core::settings::{LawName, Settings};
use study::scenario::Scenario;

use super::Args;
use crate::document::PartsOfRun;
use crate::exit::Failure;
use crate::verbs::parts_on_engine::put_on;
use plant::toml_file::TomlFile;

/// What one run is made of.
pub(super) struct RunParts {
    /// What tables and files call it.
    pub(super) name: String,
    /// What the page calls it: which controller, which turbo.
    pub(super) label: String,
    pub(super) controller: String,
    pub(super) settings: Settings,
    pub(super) scenario: Scenario,
    /// Seed of the sensors' noise.
    pub(super) noise_seed: u64,
    pub(super) parts: Option<PartsOfRun>,
}

/// Every controller with the name it goes by; with `--laws` under each law.
fn controllers(args: &Args) -> Result<Vec<(String, Settings)>, Failure> {
    let given = given_controllers(args)?;
    if !args.laws {
        return Ok(given);
    }
    let under = |name: &str, settings: &Settings, law: LawName| {
        let word = law.word();
        let name = if args.with.is_empty() { word.to_owned() } else { format!("{name}-{word}") };
        let mut settings = *settings;
        settings.target.law = law;
        (name, settings)
    };
    Ok(given.iter().flat_map(|(name, settings)| LawName::ALL.map(|law| under(name, settings, law))).collect())
}

/// The controllers as they were given, under the law that each names.
fn given_controllers(args: &Args) -> Result<Vec<(String, Settings)>, Failure> {
    let files = &args.with;
    if files.is_empty() {
        let own = args.actuator.map(|actuator| actuator.profile().map_err(Failure::usage)).transpose()?;
        let settings = own.map_or_else(Settings::default, |profile| profile.settings);
        return Ok(vec![("built-in".to_owned(), settings)]);
    }
    let read: Result<Vec<(String, Settings)>, Failure> =
        files.iter().map(|path| Ok((stem(path), controller(path)?))).collect();
    let (stems, settings): (Vec<String>, Vec<Settings>) = read?.into_iter().unzip();
    Ok(told_apart(&stems).into_iter().zip(settings).collect())
}

/// The controller settings of a file where one is given, else the built-in ones.
pub(in crate::verbs) fn controller_or_built_in(path: Option<&Path>) -> Result<Settings, Failure> {
    path.map_or_else(|| Ok(Settings::default()), controller)
}

/// Settings as a profile holds them; whatever else is in a profile does not matter here.
#[derive(serde::Deserialize)]
struct Sectioned {
    settings: Settings,
}

fn is_sectioned(file: &TomlFile) -> bool {
    file.parse::<toml::Table>().is_ok_and(|table| table.contains_key("settings"))
}

/// The controller settings of one file, checked: bare, or as the `[settings]` of a profile.
fn controller(path: &Path) -> Result<Settings, Failure> {
    let file = TomlFile::read(path).map_err(Failure::usage)?;
    let (settings, section) = match file.parse::<Sectioned>() {
        Ok(Sectioned { settings }) => (settings, "settings."),
        Err(_) if !is_sectioned(&file) => (file.parse().map_err(Failure::usage)?, ""),
        Err(error) => return Err(Failure::usage(error)),
    };
    settings.validate().map_err(|error| {
        let allowed = format!("allowed {} to {}", error.range.min, error.range.max);
        let field = format!("{section}{}", error.field);
        Failure::usage(file.refuse(&field, allowed, "Correct this line and run again; nothing was run."))
    })?;
    Ok(settings)
}

/// What a file is called for short.
fn stem(path: &Path) -> String {
    path.file_stem().map_or_else(|| path.display().to_string(), |stem| stem.to_string_lossy().into())
}

/// Every controller with every turbo, named by what there is a choice of.
pub(super) fn setups(args: &Args, scenario: &Scenario) -> Result<Vec<RunParts>, Failure> {
    let controllers = controllers(args)?;
    let turbos = told_apart(&args.parts.iter().map(|path| stem(path)).collect::<Vec<_>>());
    let mut setups = Vec::new();
    for (controller, settings) in &controllers {
        let setup = |name: String, label: String, scenario: Scenario, parts: Option<PartsOfRun>| RunParts {
            name,
            label,
            controller: controller.clone(),
            settings: *settings,
            scenario,
            noise_seed: args.seed,
            parts,
        };
        if args.parts.is_empty() {
            setups.push(setup(
                controller.clone(),
                format!("controller {controller}"),
                scenario.clone(),
                None,
            ));
        }
        for (path, turbo) in args.parts.iter().zip(&turbos) {
            let (with_parts, told) =
                put_on(path, scenario, args.scenario.as_deref().unwrap_or(&scenario.name))?;
            let (name, label) = if args.with.is_empty() && !args.laws {
                (turbo.clone(), format!("turbo {turbo}"))
            } else {
                (format!("{controller}-{turbo}"), format!("turbo {turbo} under controller {controller}"))
            };
            setups.push(setup(name, label, with_parts, Some(told)));
        }
    }
    let names: Vec<String> = setups.iter().map(|setup| setup.name.clone()).collect();
    for (setup, name) in setups.iter_mut().zip(told_apart(&names)) {
        setup.name = name;
    }
    Ok(setups)
}

/// Names told apart: one that comes again gets a number, so that no file is written over another.
fn told_apart(stems: &[String]) -> Vec<String> {
    let mut names: Vec<String> = Vec::with_capacity(stems.len());
    for stem in stems {
        let (mut name, mut number) = (stem.clone(), 1);
        while names.contains(&name) || (number > 1 && stems.contains(&name)) {
            number += 1;
            name = format!("{stem}-{number}");
        }
        names.push(name);
    }
    names
}

#[cfg(test)]
mod tests {
    use super::told_apart;

    #[test]
    fn controllers_of_the_same_file_name_are_numbered() {
        let named = |stems: [&str; 4]| told_apart(&stems.map(str::to_owned));
        assert_eq!(named(["a", "b", "c", "d"]), ["a", "b", "c", "d"]);
        assert_eq!(named(["a", "a", "b", "a"]), ["a", "a-2", "b", "a-3"]);
        assert_eq!(named(["a", "a", "a-2", "a"]), ["a", "a-3", "a-2", "a-4"]);
    }
}

//! Names the commit that a release build is made of. Other builds change with every line and say so instead: asking git
//! for each would link the tool anew at every commit.

use std::env;
use std::process::Command;

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-env-changed=PROFILE");
    let commit = if env::var("PROFILE").is_ok_and(|profile| profile == "release") {
        println!("cargo:rerun-if-changed=src");
        if let Some(log) = git(&["rev-parse", "--git-path", "logs/HEAD"]) {
            println!("cargo:rerun-if-changed={log}");
        }
        commit().unwrap_or_else(|| "commit unknown".to_owned())
    } else {
        "development build".to_owned()
    };
    println!("cargo:rustc-env=VANEBENCH_COMMIT={commit}");
}

/// The commit, and whether files differ from it.
fn commit() -> Option<String> {
    let commit = git(&["rev-parse", "--short=12", "HEAD"])?;
    let changed = git(&["status", "--porcelain", "--untracked-files=no"])?;
    Some(if changed.is_empty() { format!("commit {commit}") } else { format!("commit {commit}, changed") })
}

fn git(args: &[&str]) -> Option<String> {
    let answer = Command::new("git").args(args).output().ok().filter(|answer| answer.status.success())?;
    Some(String::from_utf8_lossy(&answer.stdout).trim().to_owned())
}

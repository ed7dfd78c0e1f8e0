//! What is written: whole, through links, into devices, and over nothing of anyone else's.

use std::fs::{self, File, Permissions};
use std::io::Read;
use std::os::unix::fs::{FileTypeExt, MetadataExt, PermissionsExt, symlink};
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::{binary, ended, ends, fifo, has, learned, state_of, vanebench};

#[test]
fn demo_in_a_folder_with_records_deletes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    let before = state_of(at);
    has(&ends(at, 2, &["demo", "--out", "."]), &["units", "Nothing was touched", "--out"]);
    assert_eq!(state_of(at), before);
}

#[test]
fn demo_replaces_an_earlier_demo_but_not_what_was_put_into_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    ends(at, 0, &["demo", "--out", "out"]);
    let sheet = at.join("out/units/demo-unit/sheet.toml");
    fs::write(&sheet, "").unwrap();
    let before = state_of(at);
    has(&ends(at, 2, &["demo", "--out", "out"]), &["units/demo-unit/sheet.toml"]);
    has(&ends(at, 2, &["simulate", "boost-step", "--out", "out"]), &["out: holds"]);
    assert_eq!(state_of(at), before);
    fs::remove_file(&sheet).unwrap();
    ends(at, 0, &["demo", "--out", "out"]);
}

#[test]
fn a_folder_or_file_of_someone_elses_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    fs::create_dir(at.join("mine")).unwrap();
    fs::write(at.join("mine/controller.toml"), "# mine\n").unwrap();
    let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/../profiles/sheets/ring-a.toml");
    let before = state_of(at);
    for args in [
        &["match", sheet, sheet, "--out", "mine"][..],
        &["simulate", "boost-step", "--out", "mine"],
        &["campaign", "guard", "--worlds", "1", "--out", "mine"],
        &["report", "units/healthy", "--out", "mine/controller.toml"],
        &["judge", "units/healthy", "--out", "mine/controller.toml"],
        &["campaign", "learn", "--runs", "1", "--only", "healthy", "--picture", "mine/controller.toml"],
    ] {
        has(&ends(at, 2, args), &["mine", "vanebench"]);
    }
    assert_eq!(state_of(at), before);
    ends(at, 0, &["simulate", "boost-step", "--out", "new"]);
    fs::write(at.join("slow.toml"), "[slew]\nnormal_per_s = 0.5\n").unwrap();
    ends(at, 0, &["simulate", "boost-step", "--with", "slow.toml", "--out", "new"]);
    let names: Vec<_> = state_of(&at.join("new")).into_iter().map(|(path, _)| path).collect();
    let expected = ["made-by-vanebench.txt", "simulate.html", "simulate.json", "slow.csv"];
    assert_eq!(names, expected.map(|name| at.join("new").join(name)));
}

#[test]
fn a_name_that_is_a_folder_or_lies_in_none_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    let before = state_of(at);
    has(&ends(at, 2, &["unit", "list", "--csv", "units"]), &["units: is a folder", "Name a file in it"]);
    has(&ends(at, 2, &["unit", "list", "--csv", "units/healthy/log.jsonl"]), &["was not made by vanebench"]);
    has(&ends(at, 2, &["demo", "--out", "units/healthy/log.jsonl"]), &["log.jsonl: is not a folder"]);
    has(&ends(at, 2, &["unit", "list", "--csv", "no/fleet.csv"]), &["no folder no", "Nothing was written"]);
    assert_eq!(state_of(at), before);
}

#[test]
fn a_read_only_archive_is_judged_and_reported_elsewhere() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    for (path, _) in state_of(at) {
        let may = if path.is_dir() { 0o555 } else { 0o444 };
        fs::set_permissions(path, Permissions::from_mode(may)).unwrap();
    }
    fs::set_permissions(at, Permissions::from_mode(0o777)).unwrap();
    let before = state_of(&at.join("units"));
    // A copy: where the tool was built, nobody but its builder may reach.
    let tool = at.join("tool");
    fs::copy(binary(), &tool).unwrap();
    let writable = state_of(at).len();
    for (args, made) in [
        (&["judge", "units/healthy"][..], 0),
        (&["judge", "units/healthy", "--out", "verdict.json"], 1),
        (&["report", "units/healthy", "--out", "page.html"], 1),
    ] {
        let files = state_of(at).len();
        let mut command = Command::new(&tool);
        command.args(args).current_dir(at);
        // To root, permissions say nothing.
        if fs::metadata(at).unwrap().uid() == 0 {
            command.uid(65_534).gid(65_534);
        }
        ended(command.output().unwrap(), 0, args);
        assert_eq!(state_of(at).len(), files + made, "{args:?}");
    }
    assert_eq!(state_of(at).len(), writable + 2);
    assert_eq!(state_of(&at.join("units")), before);
    fs::set_permissions(at.join("units/healthy"), Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(at.join("units/healthy/0001-learn"), Permissions::from_mode(0o755)).unwrap();
    fs::set_permissions(at.join("units"), Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn links_are_followed_and_a_pipe_stays_a_pipe() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    fs::create_dir(at.join("far")).unwrap();
    symlink("far/page.html", at.join("link.html")).unwrap();
    for _ in 0..2 {
        ends(at, 0, &["report", "units/healthy", "--out", "link.html"]);
        assert!(at.join("link.html").is_symlink());
    }
    let page = fs::read(at.join("far/page.html")).unwrap();
    fifo(&at.join("pipe"));
    let pipe = at.join("pipe");
    let reader = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        File::open(pipe).unwrap().read_to_end(&mut bytes).unwrap();
        bytes
    });
    ends(at, 0, &["report", "units/healthy", "--out", "pipe"]);
    let kind = fs::symlink_metadata(at.join("pipe")).unwrap().file_type();
    assert!(kind.is_fifo(), "{kind:?}");
    assert_eq!(reader.join().unwrap(), page);
}

#[test]
fn a_device_that_is_full_is_told_of_and_stays() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    // Through a link, so that a tool that replaces what it writes spoils the link and not the machine.
    symlink("/dev/full", at.join("full")).unwrap();
    has(&ends(at, 3, &["report", "units/healthy", "--out", "full"]), &["full", "could not be written"]);
    assert!(at.join("full").is_symlink());
}

#[test]
fn four_reports_of_one_unit_at_once_are_all_written() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    learned(at);
    let args = ["report", "units/healthy", "--out", "page.html"];
    let once =
        || vanebench(args).current_dir(at).stderr(Stdio::piped()).stdout(Stdio::null()).spawn().unwrap();
    for _ in 0..3 {
        let running = [(); 4].map(|()| once());
        for child in running {
            ended(child.wait_with_output().unwrap(), 0, &args);
        }
    }
    let files: Vec<_> = fs::read_dir(at).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(files.len(), 2, "{files:?}");
}

#[test]
fn standard_output_that_refuses_ends_undetermined_and_a_reader_that_leaves_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    for args in [
        &["campaign", "boost-step", "--runs", "1", "--json"][..],
        &["simulate"],
        &["campaign", "gauge", "--units", "2", "--setups", "2", "--learns", "2"],
        &["ports"],
        &["--help"],
    ] {
        let full = File::options().write(true).open("/dev/full").unwrap();
        let output = vanebench(args).current_dir(at).stdout(full).output().unwrap();
        has(&ended(output, 3, args), &["standard output", "No space left"]);
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let output = vanebench(args).current_dir(at).stdout(writer).output().unwrap();
        assert_eq!(ended(output, 0, args), "", "{args:?}");
    }
}

#[test]
fn a_checkpoint_that_the_disk_refuses_ends_undetermined_and_leaves_nothing_beside_it() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let args = ["campaign", "boost-step", "--runs", "1", "--checkpoint", "kept.json"];
    // A limit on the size of files stands in for a full disk: the write fails half way.
    let script = "trap '' XFSZ; ulimit -f 1; exec \"$0\" \"$@\"";
    let limited = |at: &Path| {
        Command::new("bash").args(["-c", script]).arg(binary()).args(args).current_dir(at).output()
    };
    has(&ended(limited(at).unwrap(), 3, &args), &["kept.json", "could not be written"]);
    assert_eq!(fs::read_dir(at).unwrap().count(), 0);
    ends(at, 0, &args);
    let before = state_of(at);
    let size = fs::metadata(at.join("kept.json")).unwrap().len();
    assert!(size > 1024, "a checkpoint of {size} bytes would have fitted");
    let more = ["campaign", "boost-step", "--runs", "1", "--checkpoint", "kept.json", "--seed", "2"];
    has(&ends(at, 2, &more), &["another campaign"]);
    assert_eq!(state_of(at), before);
}

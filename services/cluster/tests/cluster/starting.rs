//! Starts real clusters from every state a data folder can be in.
//! It never times anything: speed is for benchmarks.

use std::fs::{self, Permissions};
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::Path;
use std::process::Command;

use nix::unistd::{Pid, User, getpgid};

use crate::support::{ask, helper, hold, is_root, open_folder, ready, spawn, sql, wait_until};
use cluster::{Cluster, ClusterError, Settings};

/// Every path below a folder with its length and time of change.
fn listing(folder: &Path) -> Vec<(String, u64, i64)> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let metadata = entry.metadata().unwrap();
        let changed = metadata.ctime_nsec() + metadata.ctime() * 1_000_000_000;
        found.push((entry.path().display().to_string(), metadata.len(), changed));
        if metadata.is_dir() {
            found.extend(listing(&entry.path()));
        }
    }
    found.sort();
    found
}

#[test]
fn a_cluster_is_made_once_kept_and_held_by_one_process() {
    let folder = open_folder();
    let mut settings = Settings::for_tests(folder.path().join("plant"));
    settings.roles = vec!["hankbook_haccp".to_owned()];

    let cluster = Cluster::start(settings.clone()).unwrap();
    assert!(cluster.is_running());
    // Ctrl-C on a terminal goes to a whole process group, and the server is to outlast that.
    let server = Pid::from_raw(cluster.server_pid().unwrap());
    assert_eq!(getpgid(Some(server)), Ok(server));
    for (setting, value) in [
        ("data_checksums", "on"),
        ("listen_addresses", ""),
        ("server_encoding", "UTF8"),
        ("max_connections", "100"),
        ("TimeZone", "UTC"),
        ("jit", "off"),
        ("wal_compression", "pglz"),
        ("unix_socket_permissions", "0700"),
    ] {
        let shown = ask(&cluster, &format!("show {setting}"));
        let on = value == "pglz" && shown == "on";
        assert!(shown == value || on, "{setting} is {shown}");
    }
    assert!(cluster.ensure_database("hankbook").unwrap());
    assert!(!cluster.ensure_database("hankbook").unwrap());
    ask(&cluster, "create role hankbook_haccp login; create role stranger login");
    assert_eq!(sql(&cluster, "hankbook_haccp", "select current_user").unwrap(), "hankbook_haccp");
    let refused = sql(&cluster, "stranger", "select 1").unwrap_err();
    assert!(refused.contains("Peer authentication failed"), "{refused}");
    ask(&cluster, "create table kept as select 42 as answer");

    let second = Cluster::start(settings.clone()).unwrap_err();
    assert!(matches!(second, ClusterError::InUse { pid: Some(pid), .. }
        if pid == std::process::id()));
    let output = spawn_and_wait(&folder.path().join("plant"));
    let named = format!("in use by process {}", std::process::id());
    assert!(output.contains(&named), "{output}");

    cluster.stop().unwrap();
    assert!(matches!(cluster.restart(), Err(ClusterError::Stopped)));
    assert!(!cluster.is_running());
    drop(cluster);

    let again = Cluster::start(settings.clone()).unwrap();
    assert_eq!(ask(&again, "select answer from kept"), "42");
    again.stop().unwrap();
    drop(again);
    another_major_version_is_refused(settings, &folder.path().join("plant/postgres"));
}

fn spawn_and_wait(data_dir: &Path) -> String {
    let output = hold(data_dir).wait_with_output().unwrap();
    assert!(!output.status.success());
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn another_major_version_is_refused(settings: Settings, cluster_folder: &Path) {
    let version = cluster_folder.join("data/PG_VERSION");
    let major = fs::read_to_string(&version).unwrap();
    fs::write(&version, "14\n").unwrap();
    // What the server before logged may still be written; its data must not change.
    let data = cluster_folder.join("data");
    let before = listing(&data);
    let message = Cluster::start(settings).unwrap_err().to_string();
    println!("{message}");
    assert!(message.contains("made by Postgres 14"), "{message}");
    assert!(message.contains(&format!("are Postgres {}", major.trim())), "{message}");
    assert!(message.contains("pg_dump ") && message.contains("pg_restore "), "{message}");
    assert!(listing(&data) == before, "the data folder was touched");
}

#[test]
fn an_interrupted_initdb_is_done_again() {
    let folder = open_folder();
    let data_dir = folder.path().join("plant");
    let half_made = data_dir.join("postgres/data.new");
    let mut launcher = hold(&data_dir);
    wait_until("initdb has begun", || half_made.join("PG_VERSION").exists());
    launcher.kill().unwrap();
    launcher.wait().unwrap();
    assert!(!data_dir.join("postgres/data").exists());
    // What a power failure leaves is still there, unlike what a killed initdb tidies away.
    fs::create_dir_all(half_made.join("base/1")).unwrap();

    let cluster = Cluster::start(Settings::for_tests(&data_dir)).unwrap();
    assert_eq!(ask(&cluster, "select 1"), "1");
    assert!(!half_made.exists());
}

#[test]
fn a_folder_that_holds_something_else_is_left_alone() {
    let folder = open_folder();
    for (name, file) in [("letters", "letter.txt"), ("data", "data/base")] {
        let root = folder.path().join(name).join("postgres");
        let foreign = root.join(file);
        fs::create_dir_all(foreign.parent().unwrap()).unwrap();
        fs::write(&foreign, "not ours").unwrap();
        let before = listing(&root);
        let error = Cluster::start(Settings::for_tests(root.parent().unwrap())).unwrap_err();
        assert!(matches!(error, ClusterError::Foreign { .. }), "{error}");
        assert_eq!(listing(&root), before);
    }
    let file = folder.path().join("file");
    fs::write(&file, "").unwrap();
    let error = Cluster::start(Settings::for_tests(file.join("plant"))).unwrap_err();
    println!("{error}");
    assert!(matches!(error, ClusterError::Io { .. }), "{error}");
}

#[test]
fn programs_that_are_not_there_are_named() {
    let folder = open_folder();
    let mut settings = Settings::for_tests(folder.path().join("plant"));
    settings.binaries = Some(folder.path().to_owned());
    let error = Cluster::start(settings.clone()).unwrap_err();
    assert!(matches!(error, ClusterError::ProgramMissing { missing: "initdb", .. }), "{error}");

    settings.roles = vec!["no good".to_owned()];
    let error = Cluster::start(settings).unwrap_err();
    assert!(matches!(error, ClusterError::NotPlainName { .. }), "{error}");
}

#[test]
fn root_names_the_folder_that_blocks_the_way_and_the_user_that_is_missing() {
    if !is_root() {
        return;
    }
    let folder = open_folder();
    let closed = folder.path().join("closed");
    fs::create_dir(&closed).unwrap();
    fs::set_permissions(&closed, Permissions::from_mode(0o700)).unwrap();
    let mut settings = Settings::for_tests(closed.join("plant"));
    let error = Cluster::start(settings.clone()).unwrap_err();
    println!("{error}");
    assert!(matches!(&error, ClusterError::Blocked { folder, .. } if *folder == closed));
    assert!(!closed.join("plant/postgres/data").exists());

    settings.system_user = Some("no-such-user".to_owned());
    let error = Cluster::start(settings.clone()).unwrap_err();
    assert!(matches!(error, ClusterError::NoSuchUser { .. }), "{error}");
    settings.system_user = Some("root".to_owned());
    let error = Cluster::start(settings).unwrap_err();
    assert!(matches!(error, ClusterError::UserIsRoot { .. }), "{error}");
}

#[test]
fn a_common_user_runs_postgres_as_itself_and_needs_a_name() {
    if !is_root() {
        return;
    }
    let nobody = User::from_name("nobody").unwrap().unwrap();
    let folder = open_folder();
    let program = folder.path().join("hold");
    fs::copy(helper(), &program).unwrap();
    let home = folder.path().join("home");
    fs::create_dir(&home).unwrap();
    let ids = (Some(nobody.uid.as_raw()), Some(nobody.gid.as_raw()));
    std::os::unix::fs::chown(&home, ids.0, ids.1).unwrap();
    let run_as = |uid: u32, data_dir: &Path| {
        let mut command = Command::new("/usr/bin/setpriv");
        command.args([&format!("--reuid={uid}"), &format!("--regid={uid}"), "--clear-groups"]);
        command.arg(&program).arg(data_dir).current_dir("/");
        spawn(command)
    };

    let mut launcher = run_as(nobody.uid.as_raw(), &home.join("plant"));
    let (_, user) = ready(&mut launcher);
    assert_eq!(user, "nobody");
    assert_eq!(fs::metadata(home.join("plant")).unwrap().mode() & 0o777, 0o700);
    drop(launcher.stdin.take());
    assert!(launcher.wait().unwrap().success());

    // Root then finds the owner of the data and runs Postgres as that user.
    let cluster = Cluster::start(Settings::for_tests(home.join("plant"))).unwrap();
    assert_eq!(cluster.system_user(), "nobody");
    assert_eq!(ask(&cluster, "select 1"), "1");

    let output = run_as(54_321, &folder.path().join("nameless")).wait_with_output().unwrap();
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    println!("{message}");
    assert!(message.contains("user id 54321 has no entry"), "{message}");
}

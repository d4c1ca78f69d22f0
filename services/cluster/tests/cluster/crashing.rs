//! Kills launchers and servers the hard way and starts again on what they leave.
//! It never times anything: speed is for benchmarks.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::os::unix::process::CommandExt;
use std::process::Command;

use crate::support::{ask, hold, is_root, kill_hard, lives, open_folder, ready, wait_until};
use cluster::{Cluster, ClusterError, Settings};

#[test]
fn a_killed_launcher_leaves_no_orphan_and_loses_nothing() {
    let folder = open_folder();
    let data_dir = folder.path().join("plant");
    let mut launcher = hold(&data_dir);
    let (server, _) = ready(&mut launcher);
    launcher.kill().unwrap();
    launcher.wait().unwrap();
    wait_until("the server has followed its launcher", || !lives(server));

    let cluster = Cluster::start(Settings::for_tests(&data_dir)).unwrap();
    assert_eq!(ask(&cluster, "select 1"), "1");
    let server = cluster.server_pid().unwrap();
    let orphan_command = fs::read_to_string(format!("/proc/{server}/cmdline")).unwrap();
    let owner = fs::metadata(data_dir.join("postgres/data")).unwrap();
    cluster.stop().unwrap();
    drop(cluster);

    // An orphan with no tie to a launcher, as on a system without that tool.
    let mut words = orphan_command.split_terminator('\0');
    let mut orphan = Command::new(words.next().unwrap());
    orphan.args(words);
    if is_root() {
        orphan.uid(owner.uid()).gid(owner.gid());
    }
    let mut orphan = orphan.spawn().unwrap();
    let pid_file = data_dir.join("postgres/data/postmaster.pid");
    wait_until("the orphan is ready", || {
        fs::read_to_string(&pid_file).is_ok_and(|text| text.contains("ready"))
    });
    let cluster = Cluster::start(Settings::for_tests(&data_dir)).unwrap();
    assert!(orphan.wait().unwrap().success());
    assert_eq!(ask(&cluster, "select 1"), "1");
    cluster.stop().unwrap();
    drop(cluster);

    // A stale record whose process id now belongs to some other program of the same user.
    let mut other = Command::new("sleep");
    other.arg("60");
    if is_root() {
        other.uid(owner.uid()).gid(owner.gid());
    }
    let mut other = other.spawn().unwrap();
    let record = format!("{}\n{}\n1\n5432\n\n\n\nready   \n", other.id(), data_dir.display());
    fs::write(&pid_file, record).unwrap();
    let cluster = Cluster::start(Settings::for_tests(&data_dir));
    assert!(other.try_wait().unwrap().is_none());
    other.kill().unwrap();
    other.wait().unwrap();
    assert_eq!(ask(&cluster.unwrap(), "select 1"), "1");
}

#[test]
fn a_killed_server_is_noticed_and_started_again() {
    let folder = open_folder();
    // Longer than a socket path may be, with what a connection string must quote.
    let data_dir = folder.path().join("it's a plant").join("x".repeat(100));
    // The thread that starts a cluster may end before it.
    let start = move || Cluster::start(Settings::for_tests(data_dir)).unwrap();
    let cluster = std::thread::spawn(start).join().unwrap();
    assert!(cluster.socket_dir().starts_with("/tmp"));
    ask(&cluster, "create table kept as select 42 as answer; checkpoint");
    let killed = cluster.server_pid().unwrap();
    kill_hard(killed);
    wait_until("the death is noticed", || !cluster.is_running());

    cluster.restart().unwrap();
    assert!(cluster.is_running());
    assert_ne!(cluster.server_pid(), Some(killed));
    assert_eq!(ask(&cluster, "select answer from kept"), "42");
    cluster.restart().unwrap();

    kill_hard(cluster.server_pid().unwrap());
    wait_until("the death is noticed", || !cluster.is_running());
    assert!(matches!(cluster.stop(), Err(ClusterError::NotClean { .. })));
    assert!(matches!(cluster.restart(), Err(ClusterError::Stopped)));
    let socket_dir = cluster.socket_dir().to_owned();
    drop(cluster);
    fs::remove_dir_all(socket_dir).unwrap();
}

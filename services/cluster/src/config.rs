//! What the server is told: its settings, and who may connect as which role.
//! It never opens a network port and never turns durability off outside tests.

use std::ffi::OsString;
use std::path::Path;

use crate::account::Account;
use crate::error::ClusterError;
use crate::folder::{Folder, MARK};
use crate::{SUPERUSER, Settings};

/// The port in the socket's name; there is no network port.
pub(crate) const PORT: u16 = 5432;

/// Checks that a role or database name needs no quoting anywhere.
pub(crate) fn check_name(name: &str) -> Result<(), ClusterError> {
    let plain = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'_';
    let starts_well = name.bytes().next().is_some_and(|byte| !byte.is_ascii_digit());
    if starts_well && name.len() <= 63 && name.bytes().all(plain) {
        return Ok(());
    }
    Err(ClusterError::NotPlainName { name: name.to_owned() })
}

/// Writes the server's settings and access rules into the cluster folder.
pub(crate) fn write(
    folder: &Folder,
    settings: &Settings,
    account: &Account,
) -> Result<(), ClusterError> {
    folder.write("postgresql.conf", &server_settings(settings))?;
    folder.write("pg_hba.conf", ACCESS)?;
    folder.write("pg_ident.conf", &role_map(account, &settings.roles))
}

/// Arguments of the server program. What safety rests on is given here, where neither a settings
/// file nor ALTER SYSTEM can change it.
pub(crate) fn server_arguments(folder: &Folder, durable: bool) -> Vec<OsString> {
    let durability = if durable { "on" } else { "off" };
    let mut arguments = vec![OsString::from("-D"), folder.data.clone().into_os_string()];
    let mut set = |name: &str, value: &dyn AsRef<std::ffi::OsStr>| {
        let mut pair = OsString::from(name);
        pair.push("=");
        pair.push(value);
        arguments.extend([OsString::from("-c"), pair]);
    };
    set("config_file", &folder.root.join("postgresql.conf"));
    set("hba_file", &folder.root.join("pg_hba.conf"));
    set("ident_file", &folder.root.join("pg_ident.conf"));
    set("log_directory", &folder.log);
    set("unix_socket_directories", &quoted_folder(&folder.socket));
    set("unix_socket_permissions", &"0700");
    set("listen_addresses", &"");
    set("port", &PORT.to_string());
    set("fsync", &durability);
    set("full_page_writes", &durability);
    set("synchronous_commit", &"on");
    arguments
}

/// The setting is a list split at commas; quotes keep a folder's spaces.
fn quoted_folder(folder: &Path) -> OsString {
    let mut quoted = OsString::from("\"");
    quoted.push(folder);
    quoted.push("\"");
    quoted
}

/// Only the Unix socket, only by the name the kernel vouches for.
const ACCESS: &str = "\
# Written by Hankbook at every start; changes here are lost.
local all         all peer map=hankbook
local replication all peer map=hankbook
";

/// Settings an administrator may still change by ALTER SYSTEM.
fn server_settings(settings: &Settings) -> String {
    let max_connections = settings.max_connections;
    let shared_buffers = if settings.durable { "256MB" } else { "128MB" };
    format!(
        "{MARK}\
         # ALTER SYSTEM overrides what stands here.\n\
         cluster_name = 'hankbook'\n\
         max_connections = {max_connections}\n\
         shared_buffers = {shared_buffers}\n\
         wal_compression = on\n\
         jit = off\n\
         timezone = 'UTC'\n\
         lc_messages = 'C'\n\
         default_text_search_config = 'pg_catalog.simple'\n\
         # One log file for each day of the week, each emptied when its day comes again.\n\
         logging_collector = on\n\
         log_filename = 'postgres-%u.log'\n\
         log_rotation_age = 1d\n\
         log_rotation_size = 0\n\
         log_truncate_on_rotation = on\n\
         log_timezone = 'UTC'\n\
         log_line_prefix = '%m [%p] %q%u@%d '\n"
    )
}

/// Postgres 15 has no pattern on the role's side, so every pair is a line of its own.
fn role_map(account: &Account, roles: &[String]) -> String {
    let mut users = vec!["root", account.launcher.as_str(), account.name.as_str()];
    users.sort_unstable();
    users.dedup();
    let roles = || std::iter::once(SUPERUSER).chain(roles.iter().map(String::as_str));
    let line = |user: &str, role: &str| {
        let user = user.replace('"', "\"\"");
        format!("hankbook \"{user}\" {role}\n")
    };
    let lines = users.iter().flat_map(|user| roles().map(move |role| line(user, role)));
    std::iter::once(MARK.to_owned()).chain(lines).collect()
}

#[cfg(test)]
mod tests {
    use super::check_name;

    #[test]
    fn names_that_need_quoting_are_refused() {
        for name in ["hankbook_haccp", "_a1", &"x".repeat(63)] {
            assert!(check_name(name).is_ok(), "{name}");
        }
        for name in ["", "1a", "a b", "Haccp", "a-b", "a\n", "all\"", &"x".repeat(64)] {
            assert!(check_name(name).is_err(), "{name}");
        }
    }
}

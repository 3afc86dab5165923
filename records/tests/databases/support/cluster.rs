//! A PostgreSQL server of this process's own, in a folder that goes when the process ends, however it ends.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// Makes a cluster, starts it on a socket in its folder, and waits until standard input ends. Without forced writes: what it
/// holds is of no worth, and the test of a loss of power is not this one.
const SCRIPT: &str = r#"
set -e
bin=$1; more=$2
dir=$(mktemp -d "${TMPDIR:-/tmp}/records-server.XXXXXX")
trap '"$bin/pg_ctl" -D "$dir/data" -m immediate stop >/dev/null 2>&1; rm -rf "$dir"' EXIT
trap '' INT HUP TERM
if "$bin/initdb" -D "$dir/data" -U records -A trust --no-sync --no-locale -E UTF8 >"$dir/log" 2>&1 </dev/null &&
  "$bin/pg_ctl" -D "$dir/data" -w -l "$dir/log" -o "-k $dir -c listen_addresses='' -c fsync=off -c full_page_writes=off $more" \
    start >/dev/null 2>&1 </dev/null
then echo "$dir"; cat >/dev/null
else cat "$dir/log" >&2; echo; fi
"#;

/// A running server.
#[derive(Debug)]
pub(crate) struct Cluster {
    folder: String,
    /// Its standard input ends with this process.
    _keeper: Child,
}

/// Where the server's programs are: in `TRUERIM_POSTGRES`, on the path, or where Debian puts them.
fn programs() -> Option<PathBuf> {
    let asked = std::env::var_os("TRUERIM_POSTGRES").map(PathBuf::from);
    let path = std::env::var_os("PATH").unwrap_or_default();
    let path: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let debian = std::fs::read_dir("/usr/lib/postgresql")
        .into_iter()
        .flatten()
        .flatten();
    let mut debian: Vec<PathBuf> = debian.map(|version| version.path().join("bin")).collect();
    debian.sort();
    let all = asked.into_iter().chain(debian.into_iter().rev()).chain(path);
    all.into_iter().find(|folder| {
        ["initdb", "pg_ctl", "postgres"]
            .iter()
            .all(|name| folder.join(name).is_file())
    })
}

/// The server refuses to run as root: then it runs as another.
fn as_somebody(user_is_root: bool) -> Command {
    if !user_is_root {
        return Command::new("sh");
    }
    let known = |name: &str| {
        let id = Command::new("id")
            .arg("-u")
            .arg(name)
            .stderr(Stdio::null())
            .output();
        id.is_ok_and(|id| id.status.success())
    };
    let user = if known("postgres") { "postgres" } else { "nobody" };
    let mut command = Command::new("setpriv");
    command.args(["--reuid", user, "--regid"]);
    let group = Command::new("id").args(["-g", user]).output().unwrap();
    command.arg(String::from_utf8_lossy(&group.stdout).trim());
    command.args(["--clear-groups", "sh"]);
    command
}

impl Cluster {
    /// Starts one; `more` are further options of the server.
    pub(crate) fn start(more: &str) -> Self {
        let Some(bin) = programs() else {
            panic!(
                "no PostgreSQL server here: the tests of records start one. `tools/prepare tests` installs it (package \
                 postgresql); or name the folder of initdb, pg_ctl and postgres in TRUERIM_POSTGRES"
            );
        };
        let who = Command::new("id").arg("-u").output().unwrap();
        let mut command = as_somebody(who.stdout.starts_with(b"0\n"));
        command
            .arg("-c")
            .arg(SCRIPT)
            .arg("sh")
            .arg(&bin)
            .arg(more)
            .current_dir("/");
        command.stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut keeper = command
            .spawn()
            .unwrap_or_else(|error| panic!("{command:?}: {error}"));
        let mut folder = String::new();
        BufReader::new(keeper.stdout.take().unwrap())
            .read_line(&mut folder)
            .unwrap();
        let folder = folder.trim().to_owned();
        assert!(
            Path::new(&folder).is_absolute(),
            "the server of {} did not start; see above",
            bin.display()
        );
        Self {
            folder,
            _keeper: keeper,
        }
    }

    /// The URL of a database on it.
    pub(crate) fn url(&self, database: &str) -> String {
        format!(
            "postgres://records@{}/{database}",
            self.folder.replace('/', "%2F")
        )
    }

    /// Room for the tables of one test, apart from those of others: a schema, which is made more quickly than a database. Returns
    /// its URL.
    pub(crate) fn make(&self, schema: &str) -> String {
        let url = self.url("postgres");
        let mut client = postgres::Client::connect(&url, postgres::NoTls).unwrap();
        client.batch_execute(&format!("CREATE SCHEMA {schema}")).unwrap();
        format!("{url}?options=-csearch_path%3D{schema}")
    }
}

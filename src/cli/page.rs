//! `stillair page`: try things out in a browser on this machine.

use super::console::{Console, Stop};
use crate::error::Fault;
use crate::page::desk::Desk;
use crate::page::server::Server;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

const EXAMPLE: &str = "Example: look for what disturbed a day, and try it without\n  stillair page helmets";

/// Look closely and try things out, in your browser
///
/// Shows what is left over along the course for every pass of the test day in FOLDER, with the answer, which follows every
/// change at once. Nothing is written to test.toml before you say so. The page is for this machine alone: it is
/// reached under 127.0.0.1 with the address that is printed, and asks for nothing from elsewhere. Ctrl-C ends it.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub struct Arguments {
    /// Folder of the test day
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    #[command(flatten)]
    shown: Shown,
}

/// Where and how a page is shown.
#[derive(Debug, Clone, clap::Args)]
pub struct Shown {
    /// Port of this machine; one that is free unless given
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Print the address only, without opening a browser
    #[arg(long)]
    no_open: bool,
}

pub fn run(arguments: &Arguments, console: &Console) -> Result<(), Stop> {
    if console.json {
        let next = "Leave out --json; `stillair compare --json FOLDER` has the numbers.";
        return Err(Fault::new("a page is looked at and has no JSON", next).into());
    }
    must_be_there(&arguments.folder)?;
    let desk = desk(&arguments.folder, console)?;
    runtime()?.block_on(show(desk, &arguments.shown, console))
}

pub fn must_be_there(folder: &Path) -> Result<(), Fault> {
    if folder.is_dir() {
        return Ok(());
    }
    Err(Fault::new("there is no such folder", "Check the name of the folder.").in_file(folder))
}

pub fn desk(folder: &Path, console: &Console) -> Result<Desk, Stop> {
    Ok(console.watched("reading", |progress| Desk::open(folder, progress))?)
}

pub fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
}

/// Until Ctrl-C.
pub async fn show(desk: Desk, shown: &Shown, console: &Console) -> Result<(), Stop> {
    let server = Server::bind(desk, shown.port).await?;
    if console.json {
        console.json_line(&serde_json::json!({ "address": server.address() }))?;
    } else {
        console.result(&server.address())?;
    }
    console.remark("Ctrl-C ends it.");
    if !shown.no_open {
        open(&server.address(), console);
    }
    server.run(asked_to_end()).await.map_err(Stop::from)
}

/// Ctrl-C, or a closing terminal. Where the system cannot tell, the page runs until it is stopped from outside.
pub async fn asked_to_end() {
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// In whatever shows pages here.
fn open(address: &str, console: &Console) {
    let mut command = if cfg!(target_os = "macos") {
        Command::new("open")
    } else if cfg!(target_os = "windows") {
        let mut command = Command::new("rundll32");
        command.arg("url.dll,FileProtocolHandler");
        command
    } else {
        Command::new("xdg-open")
    };
    command.arg(address);
    let started = command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    if started.is_err() {
        console.remark("No browser could be opened: open the address above in one.");
    }
}

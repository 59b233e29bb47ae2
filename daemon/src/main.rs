//! The command line: arguments, logging, dispatch.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;
use gunwale::args::{Cli, Command};
use gunwale::{Error, cmd, office, recognise::ready, settings::Settings};

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) if matches!(e.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => {
            print!("{e}");
            return ExitCode::SUCCESS;
        }
        Err(e) => {
            eprintln!("gunwale: {}: `gunwale help` shows the commands", usage(&e));
            return ExitCode::from(2);
        }
    };
    tracing_subscriber::fmt()
        .with_env_filter(
            tracing_subscriber::EnvFilter::try_from_env("GUNWALE_LOG")
                .unwrap_or_else(|_| default_filter(&cli)),
        )
        .with_writer(std::io::stderr)
        .with_ansi(false)
        .init();
    match dispatch(&cli) {
        Ok(status) => ExitCode::from(status),
        // Whoever read the output has seen enough.
        Err(Error::Output(e)) if e.kind() == std::io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(Error::Told) => ExitCode::FAILURE,
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "gunwale: {e}");
            ExitCode::from(e.exit_code())
        }
    }
}

fn dispatch(cli: &Cli) -> gunwale::Result<u8> {
    let data = cli.data.clone().unwrap_or_else(default_data);
    match &cli.command {
        Command::Demo(demo) => cmd::demo::demo(cli.data.clone(), cli.config.as_deref(), demo).map(|()| 0),
        Command::Recogniser { which } => ready::serve(which).map(|()| 0),
        Command::Run => {
            let settings = Settings::load(cli.config.as_deref(), &data)?;
            cmd::run::run(&data, settings).map(|()| 0)
        }
        command => office::perform(&data, cli.config.as_deref(), command),
    }
}

/// Services tell what they do; commands only what is wrong.
fn default_filter(cli: &Cli) -> tracing_subscriber::EnvFilter {
    let level = if matches!(cli.command, Command::Run) { "info,sled=warn" } else { "warn,sled=off" };
    tracing_subscriber::EnvFilter::new(level)
}

fn default_data() -> PathBuf {
    let set = |name: &str| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    set("XDG_DATA_HOME")
        .or_else(|| set("HOME").map(|home| home.join(".local/share")))
        .unwrap_or_else(|| PathBuf::from("."))
        .join("gunwale")
}

/// A usage error in one line.
fn usage(e: &clap::Error) -> String {
    let text = e.to_string();
    let lines = text.lines().take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more"));
    let words: Vec<&str> = lines.flat_map(str::split_whitespace).collect();
    words.join(" ").trim_start_matches("error: ").to_owned()
}

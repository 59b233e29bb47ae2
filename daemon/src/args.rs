//! The command line, as the README's table has it. Commands travel to a running service in this form too.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use serde::{Deserialize, Serialize};

use crate::clock::ScaledClock;

/// Hands-free logging for trap fishers: GPS, scale and notes in, clean pull records out.
///
/// Not for navigation; weights are not legal for trade; the fishery's authority decides.
#[derive(Debug, Parser)]
#[command(name = "gunwale", version, max_term_width = 100)]
pub struct Cli {
    /// Where journal and records are [default: $XDG_DATA_HOME/gunwale, else ~/.local/share/gunwale]
    #[arg(long, global = true, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Settings file [default: DIR/gunwale.toml if present]
    #[arg(long, global = true, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Clone, Subcommand, Serialize, Deserialize)]
pub enum Command {
    /// The service on the boat: devices, pulls, notes
    Run,
    /// A simulated boat on real pseudo-terminals, through the same code as `run`
    Demo(Demo),
    /// Play tapes or plain NMEA logs into the records, as fast as it goes
    Ingest {
        /// Tapes (JSON Lines) or NMEA logs
        #[arg(required = true, value_name = "FILE")]
        files: Vec<PathBuf>,
    },
    /// A typed note, now (needs the running service)
    Note {
        /// What to note
        #[arg(required = true, value_name = "TEXT")]
        text: Vec<String>,
    },
    /// The trap register
    Traps {
        /// What to do with it
        #[command(subcommand)]
        command: Traps,
    },
    /// A day's sheet, for reading: pull by pull, then five lines for the dock
    Day {
        /// YYYY-MM-DD, today or yesterday [default: the last day with records]
        date: Option<String>,
    },
    /// Play a day's notes, trap by trap in order of time, each after a line of facts
    Replay(Replay),
    /// A person's correction of a pull or a note; it outlives rebuilds
    Correct {
        /// A pull (its id or DATE#N), or a note's id
        #[arg(value_name = "PULL|NOTE")]
        of: String,
        /// trap=ID, a tally key=VALUE, drop=true, pull=PULL (of a note), or undo
        #[arg(required = true, value_name = "FIELD=VALUE")]
        fields: Vec<String>,
    },
    /// Have recognisers listen to notes again, or to any sound file
    Hear {
        /// A day, a pull (its id or DATE#N), a note's id, or a file whose name ends in .wav
        #[arg(required = true, value_name = "DATE|PULL|FILE")]
        what: Vec<String>,
    },
    /// Remove the words and the sound of a note, or of all notes of a pull, everywhere
    Forget {
        /// A pull (its id or DATE#N), or a note's id
        #[arg(value_name = "PULL|NOTE")]
        of: String,
    },
    /// Write the records for other programs
    Export(Export),
    /// Make the store anew from the journal
    Rebuild,
    /// Try settings, devices, disk, clock, journal and store; a line each, says what to do
    Check,
    /// A recogniser that comes with this program, as the settings name it: paths in, a line of JSON each out
    #[command(hide = true)]
    Recogniser {
        /// Which
        #[command(subcommand)]
        which: Ready,
    },
}

/// The recognisers that come with this program. What does the listening is installed apart.
#[derive(Debug, Clone, Subcommand, Serialize, Deserialize)]
pub enum Ready {
    /// PocketSphinx, listening for the words of the trade only
    Pocketsphinx,
    /// A model of the Whisper family
    Whisper {
        /// The Python that has faster-whisper
        python: PathBuf,
        /// The model's folder
        model: PathBuf,
    },
}

/// The demo's options.
#[derive(Debug, Clone, Args, Serialize, Deserialize)]
pub struct Demo {
    /// How many pulls the day has
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=500))]
    pub pulls: u32,
    /// How much faster than the sea its one clock runs
    #[arg(long, value_name = "X", default_value_t = 80.0, value_parser = speed)]
    pub speed: f64,
    /// End after the last pull
    #[arg(long)]
    pub exit: bool,
}

/// What is played, and how.
#[derive(Debug, Clone, Args, Serialize, Deserialize)]
pub struct Replay {
    /// YYYY-MM-DD, today or yesterday [default: the last day with records]
    pub date: Option<String>,
    /// Only this trap
    #[arg(long, value_name = "ID")]
    pub trap: Option<String>,
    /// Talk too: notes whose words have nothing of the trade in them
    #[arg(long)]
    pub all: bool,
    /// Print the lines without playing
    #[arg(long, conflicts_with = "to")]
    pub list: bool,
    /// Write the notes as one WAV file with a cue point each, instead of playing
    #[arg(long, value_name = "FILE.wav")]
    pub to: Option<PathBuf>,
}

/// What can be done with the register.
#[derive(Debug, Clone, Subcommand, Serialize, Deserialize)]
pub enum Traps {
    /// Take in a file: CSV (header trap,lat,lon and optional set_at), GeoJSON points or GPX waypoints; all or nothing
    Import {
        /// The file
        file: PathBuf,
    },
    /// Show the register
    List {
        /// As data instead of for reading
        #[arg(long)]
        format: Option<TableFormat>,
    },
    /// Put a trap into the register, or mend its place
    Add {
        /// The trap's name
        #[arg(value_name = "ID")]
        trap: String,
        /// Degrees north
        #[arg(allow_negative_numbers = true, required_unless_present = "at", requires = "lon")]
        lat: Option<f64>,
        /// Degrees east
        #[arg(allow_negative_numbers = true)]
        lon: Option<f64>,
        /// Where this pull set it
        #[arg(long, value_name = "PULL", conflicts_with = "lat")]
        at: Option<String>,
    },
    /// Take a trap out of the register
    Retire {
        /// The trap's name
        #[arg(value_name = "ID")]
        trap: String,
    },
}

/// Two forms for tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, Serialize, Deserialize)]
pub enum TableFormat {
    /// RFC 4180, with a header
    Csv,
    /// JSON Lines
    Jsonl,
}

/// The export's options.
#[derive(Debug, Clone, Args, Serialize, Deserialize)]
pub struct Export {
    /// The form
    pub format: TableFormat,
    /// Which table
    #[arg(long, value_name = "NAME", default_value = "pulls")]
    pub table: Table,
    /// From this day on
    #[arg(long, value_name = "DATE")]
    pub from: Option<String>,
    /// Up to and with this day
    #[arg(long, value_name = "DATE")]
    pub to: Option<String>,
    /// Only this trap
    #[arg(long, value_name = "ID")]
    pub trap: Option<String>,
    /// Write here instead of to stdout
    #[arg(long, value_name = "PATH")]
    pub out: Option<PathBuf>,
}

/// The tables there are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, Serialize, Deserialize)]
pub enum Table {
    /// One row a pull
    Pulls,
    /// One row a note
    Notes,
    /// One row a weighing
    Weighings,
    /// One row a position epoch, as received
    Track,
    /// The register
    Traps,
}

impl Command {
    /// The files the command reads, in order: the client opens them and streams them to a running service.
    pub fn files(&self) -> Vec<PathBuf> {
        match self {
            Command::Ingest { files } => files.clone(),
            Command::Traps { command: Traps::Import { file } } => vec![file.clone()],
            Command::Hear { what } => what.iter().filter(|what| is_sound(what)).map(PathBuf::from).collect(),
            _ => Vec::new(),
        }
    }

    /// Where the command's output goes, if not to stdout: the client writes it.
    pub fn out(&self) -> Option<&PathBuf> {
        if let Command::Export(export) = self { export.out.as_ref() } else { None }
    }
}

/// Whether this is the name of a sound file, and no day, pull or note.
pub fn is_sound(what: &str) -> bool {
    what.to_ascii_lowercase().ends_with(".wav")
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(x) if ScaledClock::SPEEDS.contains(&x) => Ok(x),
        _ => Err("give a number from 0.01 to 1000".into()),
    }
}

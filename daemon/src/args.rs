//! The command line, as the README's table has it. Commands travel to a running service in this form too.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

use clap::{Args, Parser, Subcommand, ValueEnum};
use serde::{Deserialize, Serialize};

use crate::clock::ScaledClock;
use crate::error::Error;

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
    /// What the records say for each trap and each class of soak
    Season(Season),
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

/// The forms of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, Serialize, Deserialize)]
pub enum Format {
    /// RFC 4180, with a header
    Csv,
    /// JSON Lines; a pull is the whole record
    Jsonl,
    /// GeoJSON (RFC 7946): a point a pull
    Geojson,
    /// GPX 1.1: a waypoint a pull, and the track
    Gpx,
    /// Parquet with real types; GeoParquet 1.1 where there are places
    Parquet,
}

impl From<TableFormat> for Format {
    fn from(format: TableFormat) -> Format {
        match format {
            TableFormat::Csv => Format::Csv,
            TableFormat::Jsonl => Format::Jsonl,
        }
    }
}

/// The days a season's table is of.
#[derive(Debug, Clone, Args, Serialize, Deserialize)]
pub struct Season {
    /// From this day on
    #[arg(long, value_name = "DATE")]
    pub from: Option<String>,
    /// Up to and with this day
    #[arg(long, value_name = "DATE")]
    pub to: Option<String>,
    /// As data instead of for reading
    #[arg(long)]
    pub format: Option<TableFormat>,
}

/// The export's options.
#[derive(Debug, Clone, Args, Serialize, Deserialize)]
pub struct Export {
    /// The form
    pub format: Format,
    /// Which table; geojson has pulls only, gpx pulls and track
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
    /// Write here instead of to stdout; with parquet DIR/ for folders boat=…/day=…
    #[arg(long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    /// Copy the notes' sound there, named by day, trap and time
    #[arg(long, value_name = "DIR")]
    pub with_notes: Option<PathBuf>,
    /// Whether `out` is a folder: whoever opens it knows.
    #[arg(skip)]
    pub folder: bool,
}

impl Export {
    /// Whether more than one file comes of it.
    pub fn bundled(&self) -> bool {
        self.folder || self.with_notes.is_some()
    }

    /// Finds out whether `out` is a folder, and whether what is asked for can be written at all: nothing is among the records
    /// themselves in `data`.
    ///
    /// # Errors
    /// [`Error::Usage`] with what to do instead.
    pub fn settle(&mut self, data: &Path) -> Result<(), Error> {
        let folder = |out: &PathBuf| out.as_os_str().as_encoded_bytes().ends_with(b"/") || out.is_dir();
        self.folder = self.out.as_ref().is_some_and(folder);
        let Export { format, table, folder, .. } = *self;
        let dated = self.from.is_some() || self.to.is_some();
        let within = |path: &Option<PathBuf>| path.as_ref().is_some_and(|path| is_own(path, data));
        let problem = match (format, table) {
            (Format::Geojson, table) if table != Table::Pulls => {
                "geojson holds the pulls only: export this table as csv, jsonl or parquet"
            }
            (Format::Gpx, table) if !matches!(table, Table::Pulls | Table::Track) => {
                return Err(Error::NotInGpx);
            }
            (format, table) if folder && (format, table) != (Format::Parquet, Table::Pulls) => {
                "--out names a folder, and only the pulls as parquet are written as folders: name a file"
            }
            _ if within(&self.out) || within(&self.with_notes) => {
                "there are the records themselves, or their settings: name another place"
            }
            _ if folder && self.trap.is_some() => {
                "a file of a folder holds all pulls of its day: leave --trap out, or name a file"
            }
            (_, Table::Track | Table::Days) if self.trap.is_some() => {
                "this table is of no trap: leave --trap out"
            }
            (_, Table::Traps) if dated || self.trap.is_some() => {
                "this table is the register as it stands: leave --from, --to and --trap out"
            }
            (Format::Parquet, _) if self.out.is_none() && std::io::stdout().is_terminal() => {
                "parquet is not for reading on a terminal: name a file with --out"
            }
            _ => return Ok(()),
        };
        Err(Error::Usage(problem.to_owned()))
    }
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
    /// One row a day and boat
    Days,
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

    /// Whether there must be records before it can do anything.
    pub fn needs_records(&self) -> bool {
        use Command::{Correct, Day, Export, Forget, Note, Rebuild, Replay, Season};
        matches!(
            self,
            Note { .. }
                | Day { .. }
                | Replay(_)
                | Correct { .. }
                | Forget { .. }
                | Season(_)
                | Export(_)
                | Rebuild
        )
    }

    /// The file that the command's output goes to, if not to stdout: the client writes it.
    pub fn out(&self) -> Option<&PathBuf> {
        if let Command::Export(export) = self { export.out.as_ref().filter(|_| !export.folder) } else { None }
    }
}

/// What in the data directory is gunwale's own.
const OWN: [&str; 7] = ["gunwale.toml", "journal", "notes", "store", "incoming", "lock", "socket"];

/// Whether a path, which need not be there, is the data directory or one of gunwale's own in it, whatever links lead to it.
fn is_own(path: &Path, data: &Path) -> bool {
    let Ok(data) = data.canonicalize() else { return false };
    let there =
        |path: &Path| if path.as_os_str().is_empty() { Path::new(".") } else { path }.canonicalize().ok();
    let found = path.ancestors().find_map(|above| Some((there(above)?, path.strip_prefix(above).ok()?)));
    let whole = found.map(|(there, rest)| there.join(rest)).unwrap_or_default();
    let Ok(within) = whole.strip_prefix(&data) else { return false };
    within.components().next().is_none_or(|first| OWN.iter().any(|own| first.as_os_str() == *own))
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

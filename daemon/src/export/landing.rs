//! Where output lands: on stdout, in a file, or as many files in folders. Each file appears whole or not at all.

use std::fs::{self, File};
use std::io::{self, BufWriter, Stdout, Write};
use std::path::{Component, Path, PathBuf};

use super::bundle::Piece;
use crate::args::Command;
use crate::error::{Error, Result};

/// Longest line of a bundle, bytes.
const LINE_MAX: usize = 1 << 16;

/// The output of one command.
pub struct Landing {
    main: Main,
    bundle: Option<Bundled>,
}

/// Where what is no part of a folder goes.
enum Main {
    Nowhere,
    Stdout(BufWriter<Stdout>),
    File(WholeFile),
}

impl Landing {
    /// Opens what a command's output needs.
    ///
    /// # Errors
    /// When a file cannot be made.
    pub fn open(command: &Command) -> Result<Landing> {
        let (mut main, mut bundle) = (Main::Nowhere, None);
        if let Command::Export(export) = command
            && export.bundled()
        {
            let folder = export.out.clone().filter(|_| export.folder);
            bundle = Some(Bundled::new(folder, export.with_notes.clone()));
        }
        match command.out() {
            Some(path) => main = Main::File(WholeFile::create(path)?),
            None if bundle.as_ref().is_some_and(|bundle| bundle.folder.is_some()) => {}
            None => main = Main::Stdout(BufWriter::new(io::stdout())),
        }
        Ok(Landing { main, bundle })
    }

    /// Ends the output; unless all went well what has no file yet gets none.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn close(mut self, good: bool) -> Result<()> {
        self.main.flush()?;
        if !good {
            return Ok(());
        }
        if let Main::File(file) = self.main {
            file.keep()?;
        }
        self.bundle.map_or(Ok(()), Bundled::close)
    }
}

impl Write for Landing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match &mut self.bundle {
            None => self.main.write(bytes),
            Some(bundle) => bundle.write(bytes, &mut self.main),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        self.main.flush()
    }
}

impl Write for Main {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        match self {
            Main::Nowhere => Ok(bytes.len()),
            Main::Stdout(out) => out.write(bytes),
            Main::File(file) => file.write(bytes),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Main::Nowhere => Ok(()),
            Main::Stdout(out) => out.flush(),
            Main::File(file) => file.flush(),
        }
    }
}

/// A bundle being unpacked.
struct Bundled {
    /// Where the parts go.
    folder: Option<PathBuf>,
    /// Where the notes go.
    notes: Option<PathBuf>,
    /// A line not yet at its end.
    line: Vec<u8>,
    /// Bytes to come, and whether they are of a file.
    left: (usize, bool),
    file: Option<WholeFile>,
    gone: Vec<String>,
}

impl Bundled {
    fn new(folder: Option<PathBuf>, notes: Option<PathBuf>) -> Bundled {
        Bundled { folder, notes, line: Vec::new(), left: (0, false), file: None, gone: Vec::new() }
    }

    fn write(&mut self, bytes: &[u8], main: &mut Main) -> io::Result<usize> {
        let (left, of_file) = self.left;
        if left > 0 {
            let piece = bytes.get(..left).unwrap_or(bytes);
            let n = match &mut self.file {
                Some(file) if of_file => file.write(piece)?,
                None if of_file => return Err(other("bytes of no file")),
                _ => main.write(piece)?,
            };
            self.left.0 -= n;
            return Ok(n);
        }
        let end = bytes.iter().position(|byte| *byte == b'\n');
        let line = end.and_then(|end| bytes.get(..end)).unwrap_or(bytes);
        self.line.extend_from_slice(line);
        if self.line.len() > LINE_MAX {
            return Err(other("a line without an end"));
        }
        if end.is_some() {
            let piece = serde_json::from_slice(&std::mem::take(&mut self.line))?;
            self.take(piece).map_err(io::Error::other)?;
        }
        Ok(line.len() + usize::from(end.is_some()))
    }

    fn take(&mut self, piece: Piece) -> Result<()> {
        match piece {
            Piece::Out(n) => self.left = (n, false),
            Piece::Data(n) => self.left = (n, true),
            Piece::Part(name) => self.file = Some(begin(self.folder.as_deref(), &name)?),
            Piece::Note(name) => self.file = Some(begin(self.notes.as_deref(), &name)?),
            Piece::End => self.file.take().map_or(Ok(()), WholeFile::keep)?,
            Piece::Gone(name) => self.gone.push(name),
        }
        Ok(())
    }

    /// Removes what earlier exports wrote of days that have no pulls any more.
    fn close(self) -> Result<()> {
        let Some(root) = &self.folder else { return Ok(()) };
        for name in &self.gone {
            let file = below(root, name)?;
            if file.is_file() {
                fs::remove_file(&file).map_err(Error::file("cannot remove", &file, "delete it by hand"))?;
                // Whatever else is in there stays.
                let _ = file.parent().map(fs::remove_dir);
            }
        }
        Ok(())
    }
}

fn begin(folder: Option<&Path>, name: &str) -> Result<WholeFile> {
    let path = below(folder.ok_or(other("a file for no folder"))?, name)?;
    let parent = path.parent().unwrap_or(&path);
    fs::create_dir_all(parent).map_err(Error::file("cannot make", parent, ADVICE))?;
    WholeFile::create(&path)
}

/// A path in a folder and nowhere else.
fn below(folder: &Path, name: &str) -> Result<PathBuf> {
    let plain = Path::new(name).components().all(|part| matches!(part, Component::Normal(_)));
    if plain && !name.is_empty() {
        Ok(folder.join(name))
    } else {
        Err(other("a file outside its folder").into())
    }
}

fn other(what: &str) -> io::Error {
    io::Error::other(format!("the export came apart: {what}"))
}

const ADVICE: &str = "check the path and its permissions";

/// A file that appears whole or not at all. What is no plain file, as a pipe, is written to as it stands.
pub struct WholeFile {
    writer: BufWriter<File>,
    /// What it is called until it is whole, and then.
    names: Option<(PathBuf, PathBuf)>,
}

impl WholeFile {
    /// Begins a file that is to have this name; one of that name is replaced when it is kept.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn create(path: &Path) -> Result<WholeFile> {
        let trouble = || Error::file("cannot write", path, ADVICE);
        // Where a link leads, not the link itself.
        let path = &path.canonicalize().unwrap_or_else(|_| path.to_owned());
        let there = fs::metadata(path).ok();
        if there.as_ref().is_some_and(|there| !there.is_file()) {
            let file = File::options().write(true).open(path).map_err(trouble())?;
            return Ok(WholeFile { writer: BufWriter::new(file), names: None });
        }
        // A name with which readers of whole folders pass it over.
        let mut name = std::ffi::OsString::from(".");
        name.push(path.file_name().unwrap_or_default());
        name.push(".part");
        let temporary = path.with_file_name(name);
        let file = File::create(&temporary).map_err(trouble())?;
        if let Some(there) = there {
            // Who may read it stays as it was, where the system lets us.
            let _ = file.set_permissions(there.permissions());
        }
        Ok(WholeFile { writer: BufWriter::new(file), names: Some((temporary, path.clone())) })
    }

    /// Gives it its name, once it is on the disk.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn keep(mut self) -> Result<()> {
        self.writer.flush()?;
        let Some((temporary, path)) = &self.names else { return Ok(()) };
        self.writer.get_ref().sync_all()?;
        fs::rename(temporary, path).map_err(Error::file("cannot write", path, ADVICE))
    }
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.writer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.writer.flush()
    }
}

impl Drop for WholeFile {
    fn drop(&mut self) {
        // Kept, it is no longer there by this name.
        let _ = self.names.as_ref().map(|(temporary, _)| fs::remove_file(temporary));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every file in a folder, by name, with its content.
    fn there(folder: &Path) -> Vec<(String, String)> {
        let mut files: Vec<_> = fs::read_dir(folder)
            .unwrap()
            .map(|file| file.unwrap().path())
            .map(|path| {
                (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read_to_string(path).unwrap())
            })
            .collect();
        files.sort();
        files
    }

    #[test]
    fn a_file_has_its_name_only_when_it_is_whole() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("pulls.csv");
        fs::write(&path, "from before").unwrap();
        for kept in [false, true] {
            let mut file = WholeFile::create(&path).unwrap();
            file.write_all(b"anew").unwrap();
            file.flush().unwrap();
            let before = ("pulls.csv".to_owned(), "from before".to_owned());
            assert_eq!(
                there(dir.path()),
                [(".pulls.csv.part".to_owned(), "anew".to_owned()), before.clone()]
            );
            let expected = if kept {
                file.keep().unwrap();
                "anew"
            } else {
                drop(file);
                "from before"
            };
            assert_eq!(there(dir.path()), [(before.0, expected.to_owned())]);
        }
    }

    #[test]
    fn folders_keep_a_files_old_content_when_the_stream_ends_before_it_does() {
        let dir = tempfile::tempdir().unwrap();
        let name = "boat=Tern/day=2027-02-09/pulls.parquet";
        let path = dir.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, "from before").unwrap();
        let mut stream = Vec::new();
        for piece in [&Piece::Part(name.into()), &Piece::Data(8)] {
            serde_json::to_writer(&mut stream, piece).unwrap();
            stream.push(b'\n');
        }
        stream.extend(b"anew");
        let mut bundle = Bundled::new(Some(dir.path().to_owned()), None);
        let mut rest = stream.as_slice();
        while !rest.is_empty() {
            let n = bundle.write(rest, &mut Main::Nowhere).unwrap();
            rest = &rest[n..];
        }
        drop(bundle);
        assert_eq!(there(path.parent().unwrap()), [("pulls.parquet".to_owned(), "from before".to_owned())]);
    }

    #[test]
    fn no_file_of_a_stream_lands_outside_its_folder() {
        let dir = tempfile::tempdir().unwrap();
        for name in ["../x", "a/../../x", "/etc/x", ""] {
            let mut bundle = Bundled::new(Some(dir.path().to_owned()), None);
            let line = serde_json::to_string(&Piece::Part(name.into())).unwrap() + "\n";
            let said = bundle.write(line.as_bytes(), &mut Main::Nowhere).unwrap_err().to_string();
            assert!(said.contains("the export came apart: a file outside its folder"), "{name}: {said}");
        }
        assert_eq!(there(dir.path()), []);
    }
}

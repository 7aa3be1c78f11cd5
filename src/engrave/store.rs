//! Drawn pages that wait until their file can be written: few are held, many lie in a file of whoever
//! asks for them.

use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;

/// A file that nobody else sees, to be written and read again.
pub trait Scratch: Read + Write + Seek + Send {}

impl<T: Read + Write + Seek + Send> Scratch for T {}

/// Makes such files.
pub type NewScratch<'a> = dyn Fn() -> io::Result<Box<dyn Scratch>> + Sync + 'a;

/// Keeps what is put aside in memory.
///
/// # Errors
///
/// None.
pub fn in_memory() -> io::Result<Box<dyn Scratch>> {
    Ok(Box::new(io::Cursor::new(Vec::new())))
}

/// Bytes that are held before a file is begun for them.
const HELD: usize = 1024 * 1024;

/// Bytes put aside in pieces.
#[derive(Default)]
pub struct Store {
    held: Vec<u8>,
    scratch: Option<Box<dyn Scratch>>,
    /// How much lies in the file.
    written: u64,
    /// Why it could not be written.
    failed: Option<io::Error>,
}

impl Store {
    /// Puts a piece aside; gives back where it is. What fails is told by who reads it.
    pub fn put(&mut self, piece: &[u8], new: &NewScratch) -> Range<u64> {
        let begin = self.written + self.held.len() as u64;
        self.held.extend_from_slice(piece);
        if self.held.len() > HELD
            && let Err(error) = self.write_out(new)
        {
            self.failed = self.failed.take().or(Some(error));
            // What cannot be written need not be held.
            self.written += self.held.len() as u64;
            self.held.clear();
        }
        begin..begin + piece.len() as u64
    }

    fn write_out(&mut self, new: &NewScratch) -> io::Result<()> {
        let scratch = match &mut self.scratch {
            Some(scratch) => scratch,
            None => self.scratch.insert(new()?),
        };
        scratch.seek(SeekFrom::Start(self.written))?;
        scratch.write_all(&self.held)?;
        self.written += self.held.len() as u64;
        self.held.clear();
        Ok(())
    }

    /// A piece.
    ///
    /// # Errors
    ///
    /// Why it, or another one, could not be put aside or cannot be read.
    pub fn get(&mut self, piece: Range<u64>) -> io::Result<Vec<u8>> {
        if let Some(error) = self.failed.take() {
            return Err(error);
        }
        let place = |at: u64| usize::try_from(at).map_err(io::Error::other);
        let length = place(piece.end - piece.start)?;
        if piece.start >= self.written {
            let from = place(piece.start - self.written)?;
            return Ok(self.held[from..from + length].to_vec());
        }
        let mut bytes = vec![0; length];
        if let Some(scratch) = &mut self.scratch {
            scratch.seek(SeekFrom::Start(piece.start))?;
            scratch.read_exact(&mut bytes)?;
        }
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_come_back_from_memory_and_from_the_file() {
        let mut store = Store::default();
        let piece = |n: u8| vec![n; usize::from(n) * 397 % 90_000];
        let places: Vec<Range<u64>> = (0..100).map(|n| store.put(&piece(n), &in_memory)).collect();
        assert!(store.written > 0 && !store.held.is_empty());
        for (n, place) in (0..100).zip(places).rev() {
            assert_eq!(store.get(place).unwrap(), piece(n));
        }
    }

    #[test]
    fn a_file_that_cannot_be_begun_is_told() {
        let mut store = Store::default();
        let refused = || Err(io::Error::from(io::ErrorKind::PermissionDenied));
        let first = store.put(&[1; 10], &refused);
        store.put(&vec![0; 2 * HELD], &refused);
        let told = store.get(first).map_err(|error| error.kind());
        assert_eq!(told, Err(io::ErrorKind::PermissionDenied));
    }
}

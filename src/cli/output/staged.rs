//! A file while it is got ready: as long as it goes on as the one that is there already, nothing is
//! written.

use std::io::{self, Read, Write};
use std::path::Path;

use sha2::{Digest as _, Sha256};

use super::super::interrupt;
use super::disk::{Disk, NewFile};

/// Bytes that are read or written at a time.
const BLOCK: usize = 64 * 1024;

/// A file that is got ready.
pub(super) struct Staged<'d, D: Disk> {
    disk: &'d D,
    /// Where the file is to stand.
    place: &'d Path,
    /// Begins the file beside it.
    begin: &'d dyn Fn() -> io::Result<Box<dyn NewFile + 'd>>,
    /// What of the file at the place is still to be compared; nothing where there is none, or where
    /// the new one is another.
    there: Option<Box<dyn Read + 'd>>,
    /// How many bytes both have in common.
    same: u64,
    new: Option<Box<dyn NewFile + 'd>>,
    hash: Sha256,
    block: Vec<u8>,
}

impl<'d, D: Disk> Staged<'d, D> {
    pub(super) fn new(
        disk: &'d D,
        place: &'d Path,
        begin: &'d dyn Fn() -> io::Result<Box<dyn NewFile + 'd>>,
    ) -> io::Result<Self> {
        let there = disk.open(place)?;
        let (new, hash, block) = (None, Sha256::new(), vec![0; BLOCK]);
        Ok(Staged { disk, place, begin, there, same: 0, new, hash, block })
    }

    /// The rest of the file is there: its digest, and whether it is new.
    pub(super) fn finish(mut self) -> io::Result<(Vec<u8>, bool)> {
        if self.new.is_none() {
            let more = match &mut self.there {
                Some(there) => there.read(&mut self.block[..1])? > 0,
                None => true,
            };
            if more {
                self.part_ways()?;
            }
        }
        if let Some(new) = &mut self.new {
            new.finish()?;
        }
        Ok((self.hash.finalize().to_vec(), self.new.is_some()))
    }

    /// The file is another than the one that is there: from here on it is written.
    fn part_ways(&mut self) -> io::Result<()> {
        let mut new = (self.begin)()?;
        if self.there.take().is_some() && self.same > 0 {
            let there = self.disk.open(self.place)?;
            let there = there.ok_or_else(|| io::Error::from(io::ErrorKind::NotFound))?;
            io::copy(&mut there.take(self.same), &mut new)?;
        }
        self.new = Some(new);
        Ok(())
    }

    /// Does what is there go on with these bytes?
    fn goes_on_with(&mut self, bytes: &[u8]) -> io::Result<bool> {
        let Some(there) = &mut self.there else { return Ok(false) };
        let mut compared = 0;
        while compared < bytes.len() {
            let most = (bytes.len() - compared).min(BLOCK);
            let read = match there.read(&mut self.block[..most]) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                read => read?,
            };
            if read == 0 || self.block[..read] != bytes[compared..compared + read] {
                return Ok(false);
            }
            compared += read;
        }
        Ok(true)
    }
}

impl<D: Disk> Write for Staged<'_, D> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if interrupt::is_asked() {
            return Err(io::Error::other("stopped"));
        }
        if self.new.is_none() {
            if self.goes_on_with(bytes)? {
                self.same += bytes.len() as u64;
                self.hash.update(bytes);
                return Ok(bytes.len());
            }
            self.part_ways()?;
        }
        if let Some(new) = &mut self.new {
            new.write_all(bytes)?;
            self.hash.update(bytes);
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

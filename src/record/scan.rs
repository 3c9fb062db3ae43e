//! Walking a record line by line: every line checked against the chain, and a torn tail told from damage.
//!
//! A line is written by one call and synced before anyone is told, so a crash can spoil only what stands behind the last
//! whole line. File systems then show a cut line, or a run of NULs where blocks never arrived, or both.

use std::io::{self, BufRead};

use super::chain::{self, HashLines, Head, LONGEST_LINE, LinesAlone};
use super::{Line, Wrong};

/// The largest record in bytes.
pub const LARGEST_FILE: u64 = 1 << 30;

/// One whole line with its place in the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scanned {
    pub line: Line,
    /// Where it begins, in bytes from the start of the file.
    pub offset: u64,
}

/// What stands behind the last whole line: never confirmed to anyone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Torn {
    /// Where it begins, in bytes from the start of the file.
    pub offset: u64,
    pub bytes: u64,
    pub kind: TornKind,
}

/// How a tail is torn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TornKind {
    /// No line feed at its end.
    Cut,
    /// The same, and nothing else is missing.
    NoLineFeed,
    /// Only NULs.
    Nuls,
    /// NULs among other bytes.
    Holes,
}

impl TornKind {
    /// What happened, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Cut => "the last line was cut while it was written",
            Self::NoLineFeed => "the last line is whole but for the line feed that ends it",
            Self::Nuls => "the file ends in zero bytes: the line that was due there never reached the disk",
            Self::Holes => "parts of the last line never reached the disk",
        }
    }
}

/// Why a walk ended early.
#[derive(Debug)]
pub enum Stop {
    Io(io::Error),
    TooLarge,
    /// Nothing in the file at all.
    Empty,
    /// Not one whole line.
    NeverOpened(TornKind),
    Damaged {
        line: u64,
        wrong: Wrong,
    },
}

/// Walks the lines of a record. Ends at the first error; what is torn behind the last whole line is in [`Scan::torn`].
#[derive(Debug)]
pub struct Scan<R, H = LinesAlone> {
    input: R,
    hashes: H,
    head: Head,
    offset: u64,
    torn: Option<Torn>,
    ended: bool,
    /// Room for lines that do not stand whole in the input's own buffer.
    room: Vec<u8>,
    /// The last whole line, where it is kept.
    last: Option<Vec<u8>>,
}

impl<R: BufRead> Scan<R> {
    /// A walk from the start of `input`.
    pub fn new(input: R) -> Self {
        Self::hashing(input, LinesAlone)
    }

    /// The same, for one who asks for [`Scan::last_line`].
    pub fn keeping_last(input: R) -> Self {
        Self { last: Some(Vec::new()), ..Self::new(input) }
    }
}

impl<R: BufRead, H: HashLines> Scan<R, H> {
    /// A walk from the start of `input` that has the hashes of its lines taken by `hashes`.
    pub fn hashing(input: R, hashes: H) -> Self {
        let head = Head::default();
        Self { input, hashes, head, offset: 0, torn: None, ended: false, room: Vec::new(), last: None }
    }

    /// What took the hashes of the lines walked so far.
    pub fn hashes(&self) -> &H {
        &self.hashes
    }

    /// Where the chain stands behind the lines walked so far.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// The length in bytes of the whole lines walked so far.
    pub fn good_length(&self) -> u64 {
        self.offset
    }

    /// The bytes of the last whole line walked so far, its newline left out; none unless they are kept.
    pub fn last_line(&self) -> &[u8] {
        self.last.as_deref().unwrap_or_default()
    }

    /// The torn tail, once the walk has ended.
    pub fn torn(&self) -> Option<Torn> {
        self.torn
    }

    fn step(&mut self) -> Result<Option<Scanned>, Stop> {
        // Most lines stand whole in the buffer, and are good: they are read where they stand.
        let found = filled(&mut self.input).map_err(Stop::Io)?;
        if let Some(end) = memchr::memchr(b'\n', &found[..found.len().min(LONGEST_LINE + 1)])
            && let Ok(line) = chain::decode(&found[..end], &self.head)
            && self.offset + (end as u64) < LARGEST_FILE
        {
            let walked = (&mut self.head, &mut self.hashes, &mut self.offset);
            let scanned = passed(walked, self.last.as_mut(), &found[..end], line);
            self.input.consume(end + 1);
            return Ok(Some(scanned));
        }
        let mut bytes = std::mem::take(&mut self.room);
        bytes.clear();
        let step = self.assembled(&mut bytes);
        self.room = bytes;
        step
    }

    /// The same for a line that has to be put together, or is none.
    fn assembled(&mut self, bytes: &mut Vec<u8>) -> Result<Option<Scanned>, Stop> {
        self.read_line(bytes).map_err(Stop::Io)?;
        if bytes.is_empty() {
            return if self.head.lines == 0 { Err(Stop::Empty) } else { Ok(None) };
        }
        if self.offset + bytes.len() as u64 > LARGEST_FILE {
            return Err(Stop::TooLarge);
        }
        let whole = bytes.pop_if(|byte| *byte == b'\n').is_some();
        if !whole {
            return self.unfinished(bytes);
        }
        match chain::decode(bytes, &self.head) {
            Ok(line) => {
                let walked = (&mut self.head, &mut self.hashes, &mut self.offset);
                Ok(Some(passed(walked, self.last.as_mut(), bytes, line)))
            }
            // Blocks of one write may reach the disk out of order, so the line feed can be there and what is before it not.
            Err(_) if bytes.contains(&0) && filled(&mut self.input).map_err(Stop::Io)?.is_empty() => {
                self.end_torn(bytes.len() as u64 + 1, TornKind::Holes)
            }
            Err(wrong) => Err(Stop::Damaged { line: self.head.lines + 1, wrong }),
        }
    }

    /// Reads up to and including the next line feed, no more than a byte beyond the longest line.
    fn read_line(&mut self, bytes: &mut Vec<u8>) -> io::Result<()> {
        while bytes.len() <= LONGEST_LINE {
            let found = filled(&mut self.input)?;
            let found = &found[..found.len().min(LONGEST_LINE + 1 - bytes.len())];
            let end = memchr::memchr(b'\n', found);
            let used = end.map_or(found.len(), |at| at + 1);
            bytes.extend_from_slice(&found[..used]);
            self.input.consume(used);
            if end.is_some() || used == 0 {
                break;
            }
        }
        Ok(())
    }

    /// Bytes without a line feed: the tail, unless they are longer than a line and a line feed follows after all.
    fn unfinished(&mut self, bytes: &[u8]) -> Result<Option<Scanned>, Stop> {
        const BEGINNING: &[u8] = b"{\"n\":1,\"at\":\"";
        let mut length = bytes.len() as u64;
        let begins_like_a_record = bytes.iter().zip(BEGINNING).all(|(found, due)| found == due || *found == 0);
        if self.head.lines == 0 && !begins_like_a_record {
            return Err(Stop::Damaged { line: 1, wrong: Wrong::NotARecord });
        }
        let mut only_nuls = bytes.iter().all(|byte| *byte == 0);
        let mut any_nul = bytes.contains(&0);
        let whole = chain::decode(bytes, &self.head).is_ok();
        loop {
            let more = filled(&mut self.input).map_err(Stop::Io)?;
            if more.is_empty() {
                break;
            }
            if more.contains(&b'\n') {
                return Err(Stop::Damaged { line: self.head.lines + 1, wrong: Wrong::TooLong });
            }
            only_nuls &= more.iter().all(|byte| *byte == 0);
            any_nul |= more.contains(&0);
            let used = more.len();
            length += used as u64;
            if self.offset + length > LARGEST_FILE {
                return Err(Stop::TooLarge);
            }
            self.input.consume(used);
        }
        self.end_torn(
            length,
            match (only_nuls, any_nul) {
                (true, _) => TornKind::Nuls,
                (false, true) => TornKind::Holes,
                (false, false) if whole && length == bytes.len() as u64 => TornKind::NoLineFeed,
                (false, false) => TornKind::Cut,
            },
        )
    }

    fn end_torn(&mut self, bytes: u64, kind: TornKind) -> Result<Option<Scanned>, Stop> {
        if self.head.lines == 0 {
            return Err(Stop::NeverOpened(kind));
        }
        self.torn = Some(Torn { offset: self.offset, bytes, kind });
        Ok(None)
    }
}

/// What stands in the input's buffer; nothing at its end.
fn filled(input: &mut impl BufRead) -> io::Result<&[u8]> {
    while let Err(error) = input.fill_buf() {
        if error.kind() != io::ErrorKind::Interrupted {
            return Err(error);
        }
    }
    input.fill_buf()
}

/// Moves on behind a line that is good.
fn passed<H: HashLines>(
    (head, hashes, offset): (&mut Head, &mut H, &mut u64),
    last: Option<&mut Vec<u8>>,
    bytes: &[u8],
    line: Line,
) -> Scanned {
    let begins = *offset;
    *offset += bytes.len() as u64 + 1;
    head.advance_by(bytes, hashes);
    if let Some(last) = last {
        last.clear();
        last.extend_from_slice(bytes);
    }
    Scanned { line, offset: begins }
}

impl<R: BufRead, H: HashLines> Iterator for Scan<R, H> {
    type Item = Result<Scanned, Stop>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        let step = self.step().transpose();
        self.ended = !matches!(step, Some(Ok(_)));
        step
    }
}

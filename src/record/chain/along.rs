//! How a walk takes the hashes of lines: of each alone, or of all bytes up to them as well, which is what signatures cover.

use sha2::{Digest, Sha256};

use super::LineHash;

/// Takes the hashes of a record's lines in their order.
pub trait HashLines {
    /// The hash of the next line, its newline left out.
    fn hash(&mut self, line: &[u8]) -> LineHash;
}

/// The lines, and nothing else.
#[derive(Debug, Clone, Copy, Default)]
pub struct LinesAlone;

impl HashLines for LinesAlone {
    fn hash(&mut self, line: &[u8]) -> LineHash {
        LineHash::of(line)
    }
}

/// The lines, and the record's beginning up to them. A block of the one and a block of the other are taken by turns: neither
/// needs what came of the other, so a processor works at both at once, and the second hash costs about two thirds of what it
/// would alone.
#[derive(Debug, Clone)]
pub struct WithBeginning<'a> {
    record: &'a [u8],
    beginning: Sha256,
    /// How many bytes of the record are in `beginning`, whole blocks: so they are taken where they stand.
    until: usize,
    /// Where the lines seen so far end.
    seen: usize,
}

/// Of SHA-256, in bytes (FIPS 180-4 section 1).
const BLOCK: usize = 64;

impl<'a> WithBeginning<'a> {
    /// For the lines of `record`, from its first.
    pub fn of(record: &'a [u8]) -> Self {
        Self { record, beginning: Sha256::new(), until: 0, seen: 0 }
    }

    /// SHA-256 of the record up to and including the newline of the last line that was hashed.
    pub fn up_to_here(&self) -> [u8; 32] {
        let rest = self.record.get(self.until..self.seen).unwrap_or_default();
        self.beginning.clone().chain_update(rest).finalize().into()
    }

    /// Takes the next block, if it stands before `seen`. Gives whether it did.
    fn take_block(&mut self) -> bool {
        let next = self.until + BLOCK;
        let block = if next <= self.seen { self.record.get(self.until..next) } else { None };
        if let Some(block) = block {
            self.beginning.update(block);
            self.until = next;
        }
        block.is_some()
    }
}

impl HashLines for WithBeginning<'_> {
    fn hash(&mut self, line: &[u8]) -> LineHash {
        self.seen += line.len() + 1;
        let mut hash = Sha256::new();
        for block in line.chunks(BLOCK) {
            hash.update(block);
            self.take_block();
        }
        let hash = LineHash::written(&hash.finalize().into());
        while self.take_block() {}
        hash
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Whatever the lengths of lines, both are what they are when taken one by one.
        #[test]
        fn both_hashes_are_those_taken_alone(lines in proptest::collection::vec("[a-z]{0,200}", 0..12)) {
            let record: String = lines.iter().map(|line| format!("{line}\n")).collect();
            let mut along = WithBeginning::of(record.as_bytes());
            let mut end = 0;
            prop_assert_eq!(along.up_to_here(), <[u8; 32]>::from(Sha256::digest("")));
            for line in &lines {
                prop_assert_eq!(along.hash(line.as_bytes()), LineHash::of(line.as_bytes()));
                end += line.len() + 1;
                prop_assert_eq!(along.up_to_here(), <[u8; 32]>::from(Sha256::digest(&record[..end])));
            }
        }
    }
}

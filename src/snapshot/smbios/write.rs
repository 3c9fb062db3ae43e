//! Writing a table: for machines that exist only as a model, and for checks.

/// The formatted part of one structure, filled field by field, and its strings.
#[derive(Debug, Clone)]
pub struct Draft {
    bytes: Vec<u8>,
    strings: Vec<Vec<u8>>,
}

impl Draft {
    /// A structure of `length` bytes (at least the four of its header), all fields zero.
    pub fn new(kind: u8, length: u8, handle: u16) -> Self {
        let mut bytes = vec![0; usize::from(length.max(4))];
        bytes[0] = kind;
        bytes[1] = length.max(4);
        bytes[2..4].copy_from_slice(&handle.to_le_bytes());
        Self { bytes, strings: Vec::new() }
    }

    /// Puts bytes at an offset; what lies beyond the structure's length is left out, as firmware of an older version of
    /// the document does.
    fn put(mut self, at: usize, value: &[u8]) -> Self {
        for (byte, value) in self.bytes.iter_mut().skip(at).zip(value) {
            *byte = *value;
        }
        self
    }

    /// An 8-bit field.
    #[must_use]
    pub fn byte(self, at: usize, value: u8) -> Self {
        self.put(at, &[value])
    }

    /// A 16-bit field.
    #[must_use]
    pub fn word(self, at: usize, value: u16) -> Self {
        self.put(at, &value.to_le_bytes())
    }

    /// A 32-bit field.
    #[must_use]
    pub fn dword(self, at: usize, value: u32) -> Self {
        self.put(at, &value.to_le_bytes())
    }

    /// A 64-bit field.
    #[must_use]
    pub fn qword(self, at: usize, value: u64) -> Self {
        self.put(at, &value.to_le_bytes())
    }

    /// A string field. An empty string is "no string"; a NUL cannot be part of a string and ends it.
    #[must_use]
    pub fn string(mut self, at: usize, value: &[u8]) -> Self {
        let value = value.split(|byte| *byte == 0).next().unwrap_or_default();
        if value.is_empty() || at >= self.bytes.len() || self.strings.len() >= 255 {
            return self;
        }
        self.strings.push(value.to_vec());
        let number = self.strings.len() as u8;
        self.byte(at, number)
    }

    fn finish(self, out: &mut Vec<u8>) {
        out.extend(self.bytes);
        if self.strings.is_empty() {
            out.push(0);
        }
        for string in self.strings {
            out.extend(string);
            out.push(0);
        }
        out.push(0);
    }
}

/// The bytes of a table of these structures, in this order, with the end-of-table structure behind them.
pub fn table(drafts: impl IntoIterator<Item = Draft>) -> Vec<u8> {
    let mut out = Vec::new();
    for draft in drafts {
        draft.finish(&mut out);
    }
    Draft::new(127, 4, 0xFEFF).finish(&mut out);
    out
}

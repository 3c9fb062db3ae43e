//! The encoding of SSH (RFC 4251 section 5): big-endian numbers, strings with their length ahead.

/// The bytes end before what they announce.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the bytes end too early")]
pub struct Short;

/// Bytes that are read from the front.
#[derive(Debug, Clone, Copy)]
pub struct Wire<'a>(pub &'a [u8]);

impl<'a> Wire<'a> {
    /// The next `count` bytes.
    ///
    /// # Errors
    /// When there are fewer; so for all readers here.
    pub fn bytes(&mut self, count: usize) -> Result<&'a [u8], Short> {
        let (taken, rest) = self.0.split_at_checked(count).ok_or(Short)?;
        self.0 = rest;
        Ok(taken)
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N], Short> {
        self.bytes(N)?.try_into().map_err(|_| Short)
    }

    pub fn u8(&mut self) -> Result<u8, Short> {
        Ok(u8::from_be_bytes(self.array()?))
    }

    pub fn u32(&mut self) -> Result<u32, Short> {
        Ok(u32::from_be_bytes(self.array()?))
    }

    pub fn u64(&mut self) -> Result<u64, Short> {
        Ok(u64::from_be_bytes(self.array()?))
    }

    /// A string: its length in a `u32`, then its bytes.
    pub fn string(&mut self) -> Result<&'a [u8], Short> {
        let length = self.u32()?;
        self.bytes(usize::try_from(length).map_err(|_| Short)?)
    }

    /// Whether nothing is left.
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// Appends a string. None here comes near 4 GiB; one that did would read back as cut.
pub fn put_string(out: &mut Vec<u8>, bytes: &[u8]) {
    out.extend(u32::try_from(bytes.len()).unwrap_or(u32::MAX).to_be_bytes());
    out.extend(bytes);
}

//! Keys that no longer count: a list of public keys, or a revocation list as `ssh-keygen -k` makes it (PROTOCOL.krl).
//! What cannot be read for certain is refused: a list half understood would let a revoked key pass.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use sha2::{Digest, Sha256};

use super::{Certificate, Short, SignerKey, Wire};

/// How a revocation list begins.
pub(super) const MAGIC: &[u8] = b"SSHKRL\n\0";

/// Why a file of revoked keys cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadRevocations {
    #[error("line {line}: not a public key")]
    Line { line: usize },
    #[error("the revocation list is cut or damaged")]
    Damaged,
    #[error("the revocation list is of version {0}, this program knows 1")]
    Version(u32),
    #[error("the revocation list names keys by SHA-1; make it with `sha256:` or the keys themselves")]
    Sha1,
    #[error("the revocation list holds a part of type {0} that this program does not know")]
    Part(u8),
    #[error("neither a list of public keys nor a revocation list")]
    Neither,
}

impl From<Short> for BadRevocations {
    fn from(_: Short) -> Self {
        Self::Damaged
    }
}

/// Revoked certificates of one authority; of all authorities without a key.
#[derive(Debug, Clone, Default)]
struct Certificates {
    authority: Vec<u8>,
    serials: Vec<RangeInclusive<u64>>,
    bitmaps: Vec<(u64, Vec<u8>)>,
    ids: BTreeSet<Vec<u8>>,
}

/// Keys that no longer count.
#[derive(Debug, Clone, Default)]
pub struct Revoked {
    keys: BTreeSet<Vec<u8>>,
    sha256: BTreeSet<Vec<u8>>,
    certificates: Vec<Certificates>,
}

impl Revoked {
    /// Reads either form.
    ///
    /// # Errors
    /// When any part of it cannot be read.
    pub fn read(bytes: &[u8]) -> Result<Self, BadRevocations> {
        if let Some(list) = bytes.strip_prefix(MAGIC) {
            return Self::read_list(Wire(list));
        }
        let text = std::str::from_utf8(bytes).map_err(|_| BadRevocations::Neither)?;
        let mut revoked = Self::default();
        for (n, line) in text.lines().enumerate() {
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let (key, _) = SignerKey::from_text(line).map_err(|_| BadRevocations::Line { line: n + 1 })?;
            revoked.keys.insert(key.plain_blob());
        }
        Ok(revoked)
    }

    fn read_list(mut wire: Wire<'_>) -> Result<Self, BadRevocations> {
        let version = wire.u32()?;
        if version != 1 {
            return Err(BadRevocations::Version(version));
        }
        // Its own version, its date, its flags; then a reserved string and a comment.
        wire.bytes(24)?;
        wire.string()?;
        wire.string()?;
        let mut revoked = Self::default();
        while !wire.is_empty() {
            let part = wire.u8()?;
            let mut data = Wire(wire.string()?);
            match part {
                1 => revoked.certificates.push(Certificates::read(data)?),
                2 | 5 => {
                    while !data.is_empty() {
                        let set = if part == 2 { &mut revoked.keys } else { &mut revoked.sha256 };
                        set.insert(data.string()?.to_owned());
                    }
                }
                3 => return Err(BadRevocations::Sha1),
                other => return Err(BadRevocations::Part(other)),
            }
        }
        Ok(revoked)
    }

    /// Whether a key, its certificate, or the certificate's authority is revoked.
    pub fn has(&self, key: &SignerKey) -> bool {
        let plain = |blob: &Vec<u8>| self.keys.contains(blob) || self.sha256.contains(&Sha256::digest(blob)[..]);
        plain(&key.plain_blob())
            || key.certificate().is_some_and(|certificate| {
                plain(&certificate.authority) || self.certificates.iter().any(|some| some.has(certificate))
            })
    }
}

impl Certificates {
    fn read(mut data: Wire<'_>) -> Result<Self, BadRevocations> {
        let mut some = Self { authority: data.string()?.to_owned(), ..Self::default() };
        data.string()?;
        while !data.is_empty() {
            let part = data.u8()?;
            let mut inner = Wire(data.string()?);
            match part {
                0x20 => {
                    while !inner.is_empty() {
                        let serial = inner.u64()?;
                        some.serials.push(serial..=serial);
                    }
                }
                0x21 => some.serials.push(inner.u64()?..=inner.u64()?),
                0x22 => some.bitmaps.push((inner.u64()?, inner.string()?.to_owned())),
                0x23 => {
                    while !inner.is_empty() {
                        some.ids.insert(inner.string()?.to_owned());
                    }
                }
                other => return Err(BadRevocations::Part(other)),
            }
        }
        Ok(some)
    }

    fn has(&self, certificate: &Certificate) -> bool {
        if !self.authority.is_empty() && self.authority != certificate.authority {
            return false;
        }
        let serial = certificate.serial;
        self.ids.contains(&certificate.id)
            // Zero is what a certificate without a serial has.
            || (serial != 0
                && (self.serials.iter().any(|range| range.contains(&serial))
                    || self.bitmaps.iter().any(|(first, bits)| is_set(bits, serial.checked_sub(*first)))))
    }
}

/// Bit `n` of a big-endian number, counted from its last byte's lowest.
fn is_set(bits: &[u8], n: Option<u64>) -> bool {
    let Some(n) = n else { return false };
    let byte = usize::try_from(n / 8).ok().and_then(|from_end| bits.len().checked_sub(from_end + 1));
    byte.and_then(|at| bits.get(at)).is_some_and(|byte| byte >> (n % 8) & 1 == 1)
}

//! A public key, or a certificate that vouches for one.

use std::ops::RangeInclusive;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use rsa::traits::PublicKeyParts as _;
use rsa::{BigUint, Pkcs1v15Sign};
use sha2::{Digest as _, Sha256, Sha512};
use signature::Verifier as _;
use ssh_key::public::{KeyData, RsaPublicKey};
use ssh_key::{Algorithm, HashAlg, Mpint, PublicKey, Signature};

use super::revoked::MAGIC;
use super::{Certificate, KnownKeys, Wire, certificate};
use crate::record::chain::key_fingerprint;

/// Why something is no key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadKey {
    #[error("not a public key: a type such as `ssh-ed25519` and base64 are expected")]
    NotAKey,
    #[error("a kind of key this program cannot check")]
    Unknown,
    #[error("the certificate is not what its authority signed, or was signed with SHA-1, which does not count")]
    Forged,
}

/// Whether a file holds keys, faults or not: a private one, a revocation list, or a line as key files and signers files have it.
pub fn holds_keys(bytes: &[u8]) -> bool {
    const KINDS: [&str; 3] = ["ssh-", "ecdsa-", "sk-"];
    // In base64 the length in front of every public key begins so.
    let is_key = |(kind, key): (&str, &str)| KINDS.iter().any(|k| kind.starts_with(k)) && key.starts_with("AAAA");
    let words = str::split_ascii_whitespace;
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text.lines();
    bytes.starts_with(b"-----BEGIN ")
        || bytes.starts_with(MAGIC)
        || lines.any(|line| words(line).zip(words(line).skip(1)).any(is_key))
}

/// The key that made a signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignerKey {
    blob: Vec<u8>,
    plain: KeyData,
    certificate: Option<Box<Certificate>>,
}

impl SignerKey {
    /// Reads a key or certificate from its bytes as they stand in a signature or, in base64, in a key file.
    ///
    /// # Errors
    /// When it is none, is of a kind the library cannot check, or is a certificate whose own signature is wrong.
    pub fn from_blob(blob: &[u8]) -> Result<Self, BadKey> {
        let kind = Wire(blob).string().map_err(|_| BadKey::NotAKey)?;
        let kind = std::str::from_utf8(kind).map_err(|_| BadKey::NotAKey)?;
        if certificate::is_one(kind) {
            let (certificate, plain) = certificate::read(blob)?;
            return Ok(Self { blob: blob.to_owned(), plain, certificate: Some(Box::new(certificate)) });
        }
        let plain = plain(blob)?;
        Ok(Self { blob: blob.to_owned(), plain, certificate: None })
    }

    /// Reads `TYPE BASE64`, as the first line of a key file has it; gives what follows behind it, too. As OpenSSH, blanks
    /// and tabs part words, and other white space within the base64 is passed over (judged by `ssh-keygen` in the tests).
    ///
    /// # Errors
    /// As [`SignerKey::from_blob`], and when the type named is not the one inside.
    pub fn from_text(text: &str) -> Result<(Self, &str), BadKey> {
        let text = text.split(['\n', '\0']).next().unwrap_or_default().trim_start_matches([' ', '\t']);
        let (kind, rest) = text.split_once([' ', '\t']).ok_or(BadKey::NotAKey)?;
        let rest = rest.trim_start_matches([' ', '\t']);
        let end = rest.find([' ', '\t']).unwrap_or(rest.len());
        let (base64, comment) = rest.split_at(end);
        let base64: String = base64.chars().filter(|c| !matches!(c, '\r' | '\x0b' | '\x0c')).collect();
        let blob = STANDARD.decode(base64).map_err(|_| BadKey::NotAKey)?;
        let key = Self::from_blob(&blob)?;
        if key.kind() != key_type(kind) {
            return Err(BadKey::NotAKey);
        }
        Ok((key, comment.trim()))
    }

    /// The type's name, such as `ssh-ed25519`.
    pub fn kind(&self) -> &str {
        // Checked when it was read.
        Wire(&self.blob).string().ok().and_then(|kind| std::str::from_utf8(kind).ok()).unwrap_or_default()
    }

    /// `TYPE BASE64`.
    pub fn text(&self) -> String {
        format!("{} {}", self.kind(), STANDARD.encode(&self.blob))
    }

    /// `SHA256:…` over the key as it is, certificate and all.
    pub fn fingerprint(&self) -> String {
        key_fingerprint(&self.text()).unwrap_or_default()
    }

    /// The bytes of the key, or of the certificate.
    pub fn blob(&self) -> &[u8] {
        &self.blob
    }

    /// The bytes of the key itself, without a certificate.
    pub fn plain_blob(&self) -> Vec<u8> {
        bytes_of(&self.plain)
    }

    /// Whether both are the same key, with or without a certificate.
    pub fn is_same(&self, other: &Self) -> bool {
        self.plain == other.plain
    }

    /// The certificate, where it is one.
    pub fn certificate(&self) -> Option<&Certificate> {
        self.certificate.as_deref()
    }

    /// Whether it is RSA, for which an agent must be told which hash to use.
    pub fn is_rsa(&self) -> bool {
        self.plain.is_rsa()
    }

    /// Whether `signature` (SSH wire format) over `bytes` is of this key.
    pub(super) fn has_signed(&self, bytes: &[u8], signature: &[u8], known: &mut KnownKeys) -> bool {
        let Some(signature) = whole(signature) else { return false };
        let told = self.plain.ed25519().and_then(|key| {
            let signature = (signature.algorithm() == Algorithm::Ed25519).then(|| signature.as_bytes())?;
            known.has_signed(&key.0, bytes, signature.try_into().ok()?)
        });
        told.unwrap_or_else(|| verify(&self.plain, bytes, &signature))
    }
}

/// The type of key a name stands for: a signature's algorithm names the key that makes it, too (as OpenSSH takes it).
fn key_type(name: &str) -> &str {
    match name {
        "rsa-sha2-256" | "rsa-sha2-512" => "ssh-rsa",
        "rsa-sha2-256-cert-v01@openssh.com" | "rsa-sha2-512-cert-v01@openssh.com" => "ssh-rsa-cert-v01@openssh.com",
        other => other,
    }
}

/// A key that is no certificate, from its bytes.
pub(super) fn plain(blob: &[u8]) -> Result<KeyData, BadKey> {
    let key = PublicKey::from_bytes(blob).map_err(|_| BadKey::NotAKey)?.key_data().clone();
    if key.is_other() || key.is_dsa() {
        return Err(BadKey::Unknown);
    }
    // The library reads past some forms of numbers that OpenSSH refuses; one key has one form here.
    if bytes_of(&key) != blob {
        return Err(BadKey::NotAKey);
    }
    Ok(key)
}

/// Whether a signature in SSH wire format is of this key over these bytes.
pub(super) fn fits(key: &KeyData, bytes: &[u8], signature: &[u8]) -> bool {
    whole(signature).is_some_and(|signature| verify(key, bytes, &signature))
}

fn verify(key: &KeyData, bytes: &[u8], signature: &Signature) -> bool {
    match key.rsa() {
        Some(key) => rsa_fits(key, bytes, signature).is_some(),
        None => key.verify(bytes, signature).is_ok(),
    }
}

/// Bits of an RSA modulus that OpenSSH takes (`SSH_RSA_MINIMUM_MODULUS_SIZE`, `SSHBUF_MAX_BIGNUM`; judged by `ssh-keygen` in the
/// tests).
const RSA_BITS: RangeInclusive<usize> = 1024..=16_384;

/// RSA with SHA-2 (RFC 8332), by keys of every length that OpenSSH takes: the library of all other keys takes only those of
/// 2048 to 4096 bits. A signature whose leading zeros were left out is taken as OpenSSH takes it.
fn rsa_fits(key: &RsaPublicKey, bytes: &[u8], signature: &Signature) -> Option<()> {
    let number = |number: &Mpint| number.as_positive_bytes().map(BigUint::from_bytes_be);
    let key = rsa::RsaPublicKey::new_with_max_size(number(&key.n)?, number(&key.e)?, *RSA_BITS.end()).ok()?;
    if !RSA_BITS.contains(&key.n().bits()) {
        return None;
    }
    let (scheme, hash) = match signature.algorithm() {
        Algorithm::Rsa { hash: Some(HashAlg::Sha256) } => {
            (Pkcs1v15Sign::new::<Sha256>(), Sha256::digest(bytes).to_vec())
        }
        Algorithm::Rsa { hash: Some(HashAlg::Sha512) } => {
            (Pkcs1v15Sign::new::<Sha512>(), Sha512::digest(bytes).to_vec())
        }
        _ => return None,
    };
    let mut whole = vec![0; key.size().checked_sub(signature.as_bytes().len())?];
    whole.extend(signature.as_bytes());
    key.verify(scheme, &hash, &whole).ok()
}

/// A signature from its bytes in SSH wire format, and nothing but them: the library reads past what stands behind one, which
/// OpenSSH refuses.
fn whole(bytes: &[u8]) -> Option<Signature> {
    let mut wire = Wire(bytes);
    let kind = wire.string().ok()?;
    wire.string().ok()?;
    if kind.starts_with(b"sk-") {
        // What a security key adds: its flags, and a counter of four bytes (PROTOCOL.u2f).
        wire.bytes(5).ok()?;
    }
    if wire.is_empty() { Signature::try_from(bytes).ok() } else { None }
}

/// A key's bytes.
pub(super) fn bytes_of(key: &KeyData) -> Vec<u8> {
    PublicKey::from(key.clone()).to_bytes().unwrap_or_default()
}

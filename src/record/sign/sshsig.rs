//! One signature in the format of `ssh-keygen -Y sign` (PROTOCOL.sshsig).

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256, Sha512};

use super::{BadKey, KnownKeys, NAMESPACE, Short, SignerKey, Wire, put_string};
use crate::text::shown;

const MAGIC: &[u8] = b"SSHSIG";
const BEGIN: &str = "-----BEGIN SSH SIGNATURE-----";
const END: &str = "-----END SSH SIGNATURE-----";

/// How the message is hashed before it is signed: the two the format allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hash {
    Sha256,
    Sha512,
}

impl Hash {
    /// The name in the format.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sha256 => "sha256",
            Self::Sha512 => "sha512",
        }
    }

    /// The hash of `message` (FIPS 180-4).
    pub fn of(self, message: &[u8]) -> Vec<u8> {
        match self {
            Self::Sha256 => Sha256::digest(message).to_vec(),
            Self::Sha512 => Sha512::digest(message).to_vec(),
        }
    }
}

/// What is wrong with a signature.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadSignature {
    #[error("not a signature of OpenSSH's format")]
    NotOne,
    #[error(
        "the signature is not in the one form it has: there is something before, in or behind it that is not of it"
    )]
    OtherForm,
    #[error("the signature is by another key than the line says that holds it")]
    OtherKey,
    #[error("the signature is of version {0} of the format, this program knows 1")]
    Version(u32),
    #[error("the signature was made for `{}`, not for `{NAMESPACE}`", shown(.0))]
    OtherNamespace(String),
    #[error("the message was hashed with `{}`; only sha256 and sha512 count", shown(.0))]
    OtherHash(String),
    #[error("the signature's key: {0}")]
    Key(#[from] BadKey),
    #[error("the signature does not fit these bytes: they are not what was signed, or it is not of the key it names")]
    DoesNotFit,
}

impl From<Short> for BadSignature {
    fn from(_: Short) -> Self {
        Self::NotOne
    }
}

/// A signature, read but not yet checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sshsig {
    pub key: SignerKey,
    pub namespace: String,
    pub hash: Hash,
    /// In SSH wire format.
    pub signature: Vec<u8>,
}

impl Sshsig {
    /// Reads the bytes between the armour's lines.
    ///
    /// # Errors
    /// When they are not exactly one signature.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, BadSignature> {
        let mut wire = Wire(bytes);
        if wire.bytes(MAGIC.len())? != MAGIC {
            return Err(BadSignature::NotOne);
        }
        let version = wire.u32()?;
        if version != 1 {
            return Err(BadSignature::Version(version));
        }
        let key = wire.string()?;
        let namespace = String::from_utf8_lossy(wire.string()?).into_owned();
        let reserved = wire.string()?;
        let hash = match wire.string()? {
            b"sha256" => Hash::Sha256,
            b"sha512" => Hash::Sha512,
            other => return Err(BadSignature::OtherHash(String::from_utf8_lossy(other).into_owned())),
        };
        let signature = wire.string()?.to_owned();
        // OpenSSH writes nothing into `reserved`; what nobody reads would be room for changes that nobody sees.
        if !wire.is_empty() || !reserved.is_empty() {
            return Err(BadSignature::OtherForm);
        }
        Ok(Self { key: SignerKey::from_blob(key)?, namespace, hash, signature })
    }

    /// Reads the armour that `ssh-keygen -Y sign` writes.
    ///
    /// # Errors
    /// As [`Sshsig::from_bytes`], and when the frame is missing.
    pub fn from_armour(text: &str) -> Result<Self, BadSignature> {
        let inner = text.trim().strip_prefix(BEGIN).and_then(|text| text.strip_suffix(END));
        let base64: String = inner.ok_or(BadSignature::NotOne)?.split_ascii_whitespace().collect();
        Self::from_base64(&base64)
    }

    /// Reads base64 without breaks, as a record holds it.
    ///
    /// # Errors
    /// As [`Sshsig::from_bytes`].
    pub fn from_base64(base64: &str) -> Result<Self, BadSignature> {
        Self::from_bytes(&STANDARD.decode(base64).map_err(|_| BadSignature::NotOne)?)
    }

    /// Base64 without breaks.
    pub fn to_base64(&self) -> String {
        let mut out = MAGIC.to_vec();
        out.extend(1_u32.to_be_bytes());
        put_string(&mut out, self.key.blob());
        put_string(&mut out, self.namespace.as_bytes());
        put_string(&mut out, b"");
        put_string(&mut out, self.hash.name().as_bytes());
        put_string(&mut out, &self.signature);
        STANDARD.encode(out)
    }

    /// The armour, as `ssh-keygen` writes it: 70 columns.
    pub fn to_armour(&self) -> String {
        let base64 = self.to_base64();
        let mut text = format!("{BEGIN}\n");
        // Base64 is ASCII, so every byte is a character.
        for line in base64.as_bytes().chunks(70) {
            text.push_str(&String::from_utf8_lossy(line));
            text.push('\n');
        }
        text.push_str(END);
        text.push('\n');
        text
    }

    /// The bytes that a key signs for a message of this hash.
    pub fn to_be_signed(namespace: &str, hash: Hash, message_hash: &[u8]) -> Vec<u8> {
        let mut out = Vec::with_capacity(256);
        out.extend(MAGIC);
        put_string(&mut out, namespace.as_bytes());
        put_string(&mut out, b"");
        put_string(&mut out, hash.name().as_bytes());
        put_string(&mut out, message_hash);
        out
    }

    /// Checks that it was made for records, and by its key over exactly `message`.
    ///
    /// # Errors
    /// What does not hold.
    pub fn check(&self, message: &[u8]) -> Result<(), BadSignature> {
        self.check_for(NAMESPACE, message)
    }

    /// As [`Sshsig::check`], for something else than records.
    ///
    /// # Errors
    /// What does not hold.
    pub fn check_for(&self, namespace: &str, message: &[u8]) -> Result<(), BadSignature> {
        self.check_hash(namespace, &self.hash.of(message), &mut KnownKeys::default())
    }

    /// As [`Sshsig::check_for`], for a message of which the hash is known, by this signature's [`enum@Hash`]. `known` serves where many are
    /// checked.
    ///
    /// # Errors
    /// What does not hold.
    pub fn check_hash(&self, namespace: &str, message_hash: &[u8], known: &mut KnownKeys) -> Result<(), BadSignature> {
        if self.namespace != namespace {
            return Err(BadSignature::OtherNamespace(self.namespace.clone()));
        }
        let signed = Self::to_be_signed(namespace, self.hash, message_hash);
        if self.key.has_signed(&signed, &self.signature, known) { Ok(()) } else { Err(BadSignature::DoesNotFit) }
    }
}

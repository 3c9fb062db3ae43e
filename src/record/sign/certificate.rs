//! A certificate: an authority's word that a key is someone's (PROTOCOL.certkeys).
//!
//! Read here and not by the library, which refuses the commonest of all, the one that is valid for ever.

use super::key::{bytes_of, fits, plain};
use super::{BadKey, Wire, put_string};
use ssh_key::public::KeyData;

/// What ends the type of every certificate.
const ENDING: &str = "-cert-v01@openssh.com";

/// A certificate whose own signature holds. Whether its authority is to be trusted is the signers file's to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Certificate {
    /// The authority's key.
    pub authority: Vec<u8>,
    pub serial: u64,
    pub id: Vec<u8>,
    /// For a person, not for a machine.
    pub is_for_a_person: bool,
    pub principals: Vec<Vec<u8>>,
    /// Seconds since 1970 UTC, the first that is in.
    pub valid_after: u64,
    /// The first that is out.
    pub valid_before: u64,
}

/// Whether a type is a certificate's.
pub(super) fn is_one(kind: &str) -> bool {
    kind.ends_with(ENDING)
}

/// Reads a certificate and the key it is for.
pub(super) fn read(blob: &[u8]) -> Result<(Certificate, KeyData), BadKey> {
    let not_a_key = |_| BadKey::NotAKey;
    let mut wire = Wire(blob);
    let kind = std::str::from_utf8(wire.string().map_err(not_a_key)?).map_err(|_| BadKey::NotAKey)?;
    let (plain_kind, parts) = match kind.strip_suffix(ENDING).ok_or(BadKey::NotAKey)? {
        "ssh-ed25519" => ("ssh-ed25519", 1),
        "ssh-rsa" => ("ssh-rsa", 2),
        "ecdsa-sha2-nistp256" => ("ecdsa-sha2-nistp256", 2),
        "ecdsa-sha2-nistp384" => ("ecdsa-sha2-nistp384", 2),
        "ecdsa-sha2-nistp521" => ("ecdsa-sha2-nistp521", 2),
        "sk-ssh-ed25519" => ("sk-ssh-ed25519@openssh.com", 2),
        "sk-ecdsa-sha2-nistp256" => ("sk-ecdsa-sha2-nistp256@openssh.com", 3),
        _ => return Err(BadKey::Unknown),
    };
    // A random number of the authority's own.
    wire.string().map_err(not_a_key)?;
    let mut key = Vec::new();
    put_string(&mut key, plain_kind.as_bytes());
    for _ in 0..parts {
        put_string(&mut key, wire.string().map_err(not_a_key)?);
    }
    let key = plain(&key)?;
    let serial = wire.u64().map_err(not_a_key)?;
    let is_for_a_person = match wire.u32().map_err(not_a_key)? {
        1 => true,
        2 => false,
        _ => return Err(BadKey::NotAKey),
    };
    let id = wire.string().map_err(not_a_key)?.to_owned();
    let mut names = Wire(wire.string().map_err(not_a_key)?);
    let mut principals = Vec::new();
    while !names.is_empty() {
        principals.push(names.string().map_err(not_a_key)?.to_owned());
    }
    let (valid_after, valid_before) = (wire.u64().map_err(not_a_key)?, wire.u64().map_err(not_a_key)?);
    // What a login may do, which a signature does not; and what is reserved.
    for _ in 0..3 {
        wire.string().map_err(not_a_key)?;
    }
    let authority = plain(wire.string().map_err(not_a_key)?)?;
    let signed = blob.get(..blob.len() - wire.0.len()).unwrap_or_default();
    let signature = wire.string().map_err(not_a_key)?;
    if !wire.is_empty() {
        return Err(BadKey::NotAKey);
    }
    if !fits(&authority, signed, signature) {
        return Err(BadKey::Forged);
    }
    let authority = bytes_of(&authority);
    Ok((Certificate { authority, serial, id, is_for_a_person, principals, valid_after, valid_before }, key))
}

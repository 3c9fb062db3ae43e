//! Signatures over a record that OpenSSH makes and checks as well (PROTOCOL.sshsig), and the files that say whose keys count.
//!
//! A signature covers all bytes of the record up to and including the `declared` line, newline included, so that
//! `head -n N RECORD | ssh-keygen -Y verify …` checks it without this program.

mod certificate;
mod key;
mod known;
mod pattern;
mod revoked;
mod signers;
mod sshsig;
mod wire;

pub use certificate::Certificate;
pub use key::{BadKey, SignerKey, holds_keys};
pub use known::KnownKeys;
pub use revoked::{BadRevocations, Revoked};
pub use signers::{Allowed, NotAllowed, SignerFault, Signers};
pub use sshsig::{BadSignature, Hash, Sshsig};
pub use wire::{Short, Wire, put_string};

/// What a signature of a record is for (ssh-keygen(1), `-n`): one made for anything else does not count here.
pub const NAMESPACE: &str = "slotwise-record";

#[cfg(test)]
mod tests;

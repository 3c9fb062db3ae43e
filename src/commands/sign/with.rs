//! With what is signed: a private key from a file, or one that an agent holds.

use std::os::unix::net::UnixStream;
use std::path::Path;

use ssh_key::PrivateKey;

use super::agent::{Agent, AgentError, Held};
use super::passphrase::passphrase;
use super::{Beside, By, CommandError, Exit};
use crate::commands::files::{self, named};
use crate::env::Env;
use crate::record::sign::{Hash, NAMESPACE, SignerKey, Sshsig};
use crate::text::shown;

/// Something that signs.
pub enum With {
    File(Box<PrivateKey>),
    Agent(Agent<UnixStream>),
}

/// The hash of the message: that of the record's own chain.
const HASH: Hash = Hash::Sha256;

/// Finds what to sign with, and the key by which it will be known; `None` for a typed name.
///
/// # Errors
/// When the key cannot be read, unlocked or found.
pub fn find(env: &mut Env, by: &By, beside: &Beside) -> Result<Option<(With, SignerKey)>, CommandError> {
    if by.typed {
        return Ok(None);
    }
    let Some(path) = &by.key else { return from_agent(env, None).map(Some) };
    let fingerprint = path.to_string_lossy();
    if fingerprint.starts_with("SHA256:") {
        return from_agent(env, Some(&|held| held.key.fingerprint() == fingerprint)).map(Some);
    }
    let bytes = files::bytes(&files::located(env, path)).map_err(|error| CommandError::reading(path, &error))?;
    let text = String::from_utf8_lossy(&bytes);
    if let Ok((wanted, _)) = SignerKey::from_text(&text) {
        return from_agent(env, Some(&|held| held.key == wanted)).map(Some);
    }
    if by.agent {
        return Err(CommandError::new(Exit::Usage, format!("{} is no public key", named(path)))
            .way_out("with --agent, --key names the public key (the file ending in .pub) or its SHA256 fingerprint"));
    }
    let private = unlocked(env, path, &bytes, beside.passphrase_file.as_deref())?;
    let key = match &beside.certificate {
        Some(file) => certificate(env, file, &private)?,
        None => of(&private)?,
    };
    Ok(Some((With::File(Box::new(private)), key)))
}

fn unlocked(
    env: &mut Env,
    path: &Path,
    bytes: &[u8],
    passphrase_file: Option<&Path>,
) -> Result<PrivateKey, CommandError> {
    let private = PrivateKey::from_openssh(bytes).map_err(|error| {
        CommandError::new(Exit::BadData, format!("{} is no private key of OpenSSH's format", named(path)))
            .because(&error)
            .way_out(
                "make one with `ssh-keygen -t ed25519`; `ssh-keygen -p -f FILE` brings an old one into this format",
            )
    })?;
    if private.algorithm() != ssh_key::Algorithm::Ed25519 {
        return Err(CommandError::new(
            Exit::BadData,
            format!("{} is a key of type {}; from a file only ssh-ed25519 signs", named(path), private.algorithm()),
        )
        .way_out("load it into an agent with `ssh-add` and sign with --agent"));
    }
    if !private.is_encrypted() {
        return Ok(private);
    }
    let given = passphrase(env, passphrase_file, path)?;
    private.decrypt(given.as_bytes()).map_err(|_| {
        CommandError::new(Exit::BadData, format!("the passphrase does not open {}; nothing was signed", named(path)))
            .way_out("give the same command again; Caps Lock and another keyboard's letters are the usual reasons")
    })
}

fn of(private: &PrivateKey) -> Result<SignerKey, CommandError> {
    let bad = |error: &dyn std::error::Error| CommandError::new(Exit::BadData, "the key cannot be used").because(error);
    let blob = private.public_key().to_bytes().map_err(|error| bad(&error))?;
    SignerKey::from_blob(&blob).map_err(|error| bad(&error))
}

fn certificate(env: &Env, file: &Path, private: &PrivateKey) -> Result<SignerKey, CommandError> {
    let bytes = files::bytes(&files::located(env, file)).map_err(|error| CommandError::reading(file, &error))?;
    let (key, _) = SignerKey::from_text(&String::from_utf8_lossy(&bytes)).map_err(|error| {
        CommandError::new(Exit::BadData, format!("{} is no certificate", named(file))).because(&error)
    })?;
    if key.certificate().is_none() || key.plain_blob() != of(private)?.plain_blob() {
        return Err(CommandError::new(Exit::BadData, format!("{} is no certificate of this key", named(file))));
    }
    Ok(key)
}

fn from_agent(env: &Env, wanted: Option<&dyn Fn(&Held) -> bool>) -> Result<(With, SignerKey), CommandError> {
    let socket = env.variable("SSH_AUTH_SOCK").ok_or_else(|| refused(&AgentError::NotRunning))?;
    let mut agent = Agent::connect(Path::new(socket)).map_err(|error| refused(&error))?;
    let held = agent.keys().map_err(|error| refused(&error))?;
    let mut fitting: Vec<&Held> = held.iter().filter(|held| wanted.is_none_or(|wanted| wanted(held))).collect();
    match (fitting.len(), fitting.pop()) {
        (1, Some(held)) => Ok((With::Agent(agent), held.key.clone())),
        (0, _) if wanted.is_some() => {
            Err(CommandError::new(Exit::NoInput, "the agent does not hold this key").way_out("load it: `ssh-add FILE`"))
        }
        (0, _) => Err(CommandError::new(Exit::NoInput, "the agent holds no key").way_out("load one: `ssh-add FILE`")),
        _ => {
            let mut error = CommandError::new(Exit::Usage, "the agent holds several keys; --key says which");
            for held in &held {
                error = error.way_out(format!("--key {}   ({})", held.key.fingerprint(), shown(&held.comment)));
            }
            Err(error)
        }
    }
}

fn refused(error: &AgentError) -> CommandError {
    CommandError::new(Exit::NoInput, "the agent did not sign")
        .because(error)
        .way_out("start one with `eval $(ssh-agent)` and load the key with `ssh-add`; or sign with --key FILE")
}

impl With {
    /// Signs a record's bytes, and checks that anyone could tell.
    ///
    /// # Errors
    /// When it does not sign, or what it gave is no signature by this key.
    pub fn sign(&mut self, key: &SignerKey, message: &[u8]) -> Result<Sshsig, CommandError> {
        let bytes = Sshsig::to_be_signed(NAMESPACE, HASH, &HASH.of(message));
        let signature = match self {
            Self::Agent(agent) => agent.sign(key, &bytes).map_err(|error| refused(&error))?,
            Self::File(private) => signature::Signer::try_sign(private.as_ref(), &bytes)
                .ok()
                .and_then(|signature: ssh_key::Signature| Vec::try_from(signature).ok())
                .ok_or_else(|| CommandError::new(Exit::BadData, "the key does not sign; nothing was recorded"))?,
        };
        let made = Sshsig { key: key.clone(), namespace: NAMESPACE.to_owned(), hash: HASH, signature };
        made.check(message).map_err(|error| {
            CommandError::new(Exit::BadData, "the key's signature does not hold; nothing was recorded").because(&error)
        })?;
        Ok(made)
    }
}

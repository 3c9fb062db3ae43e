use ssh_key::private::Ed25519Keypair;
use ssh_key::{PrivateKey, Signature};

use super::*;

fn private(seed: u8) -> PrivateKey {
    PrivateKey::from(Ed25519Keypair::from_seed(&[seed; 32]))
}

fn signed(message: &[u8]) -> Sshsig {
    let private = private(1);
    let bytes = Sshsig::to_be_signed(NAMESPACE, Hash::Sha512, &Hash::Sha512.of(message));
    let signature: Signature = signature::Signer::try_sign(&private, &bytes).unwrap();
    Sshsig {
        key: SignerKey::from_blob(&private.public_key().to_bytes().unwrap()).unwrap(),
        namespace: NAMESPACE.to_owned(),
        hash: Hash::Sha512,
        signature: Vec::try_from(signature).unwrap(),
    }
}

fn blob(base64: &str) -> Vec<u8> {
    use base64::Engine as _;
    base64::engine::general_purpose::STANDARD.decode(base64).unwrap()
}

#[test]
fn a_signature_has_one_form() {
    let signature = signed(b"x");
    assert_eq!(signature.check(b"x"), Ok(()));
    assert_eq!(signature.check(b"y"), Err(BadSignature::DoesNotFit));
    assert_eq!(Sshsig::from_armour(&signature.to_armour()), Ok(signature.clone()));
    let good = blob(&signature.to_base64());
    assert_eq!(Sshsig::from_bytes(&good), Ok(signature.clone()));
    // Every bit counts, the reserved field's length and what might stand behind the end included.
    for at in 0..good.len() {
        for bit in 0..8 {
            let mut bytes = good.clone();
            bytes[at] ^= 1 << bit;
            let fits = Sshsig::from_bytes(&bytes).and_then(|read| read.check(b"x").map(|()| read));
            assert!(fits.is_err(), "bit {bit} of byte {at}");
        }
        assert!(Sshsig::from_bytes(&good[..at]).is_err(), "cut at {at}");
    }
    assert_eq!(Sshsig::from_bytes(&[&good[..], b"\0"].concat()), Err(BadSignature::OtherForm));
    // And nothing stands behind the signature proper, in the field that holds it.
    for behind in [&b"\0"[..], &[0; 4], b"x"] {
        let longer = Sshsig { signature: [&signature.signature, behind].concat(), ..signature.clone() };
        let read = Sshsig::from_base64(&longer.to_base64()).unwrap();
        assert_eq!(read.check(b"x"), Err(BadSignature::DoesNotFit), "{behind:?}");
    }
    let base64 = signature.to_base64();
    for other in [format!("{base64}\n"), base64.replace('=', ""), format!(" {base64}"), String::new()] {
        assert!(other == base64 || Sshsig::from_base64(&other).is_err(), "{other:?}");
    }
}

#[test]
fn a_signature_for_something_else_says_so() {
    let mut other = signed(b"x");
    other.namespace = "git".to_owned();
    assert_eq!(other.check(b"x"), Err(BadSignature::OtherNamespace("git".to_owned())));
    let text = signed(b"x").to_base64();
    let mut bytes = blob(&text);
    bytes[9] = 2;
    assert_eq!(Sshsig::from_bytes(&bytes), Err(BadSignature::Version(2)));
    let place = bytes.windows(6).position(|part| part == b"sha512").unwrap();
    bytes[9] = 1;
    bytes[place..place + 6].copy_from_slice(b"sha999");
    assert_eq!(Sshsig::from_bytes(&bytes), Err(BadSignature::OtherHash("sha999".to_owned())));
}

#[test]
fn a_key_reads_as_its_file_has_it() {
    let text = private(1).public_key().to_openssh().unwrap();
    let line = format!("{text} ada at the bench\n");
    let (key, comment) = SignerKey::from_text(&line).unwrap();
    assert_eq!((key.kind(), comment), ("ssh-ed25519", "ada at the bench"));
    assert!(text.starts_with(&key.text()));
    assert_eq!(key.fingerprint(), private(1).fingerprint(ssh_key::HashAlg::Sha256).to_string());
    for bad in ["", "ssh-ed25519", "ssh-ed25519 AAAA", &text.replace("ssh-ed25519", "ssh-rsa"), "x y z"] {
        assert_eq!(SignerKey::from_text(bad), Err(BadKey::NotAKey), "{bad}");
    }
}

#[test]
fn lines_that_cannot_be_read_are_told_and_allow_nobody() {
    let key = SignerKey::from_blob(&private(1).public_key().to_bytes().unwrap()).unwrap();
    let text = format!("ada {0}\nbob valid-until=\"x\" {0}\nsam\n\"kim {0}\n", key.text());
    let signers = Signers::read(&text, &|_| None);
    assert_eq!(signers.len(), 1);
    assert_eq!(signers.faults().iter().map(|fault| fault.line).collect::<Vec<_>>(), [2, 3, 4]);
    assert!(signers.allow(&key, "ada", NAMESPACE, 0).is_ok());
    for nobody in ["bob", "sam", "kim"] {
        assert_eq!(signers.allow(&key, nobody, NAMESPACE, 0), Err(NotAllowed::NoSuchPerson), "{nobody}");
    }
    // Of several reasons the one that came closest is told.
    let text = format!("ada {0}\n* namespaces=\"git\" {1}\n", other(), key.text());
    let signers = Signers::read(&text, &|_| None);
    assert_eq!(signers.allow(&key, "ada", NAMESPACE, 0), Err(NotAllowed::OtherNamespace { line: 2 }));
}

#[test]
fn names_that_c_does_not_have_are_nobody() {
    let key = SignerKey::from_blob(&private(1).public_key().to_bytes().unwrap()).unwrap();
    let everyone = Signers::read(&format!("* {}\n", key.text()), &|_| None);
    assert!(everyone.allow(&key, "kim", NAMESPACE, 0).is_ok());
    assert_eq!(everyone.allow(&key, "kim\0", NAMESPACE, 0), Err(NotAllowed::NoSuchPerson));
    // In Latin-1, as it comes out of a file that is read as UTF-8.
    let latin = String::from_utf8_lossy(b"Zo\xeb ").into_owned();
    let signers = Signers::read(&format!("{latin}{}\n", key.text()), &|_| None);
    assert_eq!(signers.allow(&key, latin.trim(), NAMESPACE, 0), Err(NotAllowed::NoSuchPerson));
    assert_eq!(signers.faults().len(), 1);
}

fn other() -> String {
    SignerKey::from_blob(&private(2).public_key().to_bytes().unwrap()).unwrap().text()
}

mod hostile {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Nothing that comes from a file or an agent ends the program.
        #[test]
        fn any_bytes_are_read_to_an_end(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let _ = Sshsig::from_bytes(&bytes);
            let _ = SignerKey::from_blob(&bytes);
            let _ = Revoked::read(&bytes);
            let _ = Revoked::read(&[b"SSHKRL\n\0\0\0\0\x01", &bytes[..]].concat());
            let text = String::from_utf8_lossy(&bytes);
            let _ = Sshsig::from_armour(&text);
            let signers = Signers::read(&text, &|_| None);
            let key = signed(b"x").key;
            prop_assert!(signers.allow(&key, "ada", NAMESPACE, 0).is_err());
        }

        #[test]
        fn any_options_are_read_to_an_end(options in "[a-z=\",\\\\ 0-9Z!*-]{0,80}") {
            let key = signed(b"x").key;
            let _ = Signers::read(&format!("ada {options} {}", key.text()), &|_| None);
        }
    }
}

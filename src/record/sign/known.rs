//! Ed25519 keys that sign again and again, as in a folder of records of one shop: their multiples are worked out once.
//!
//! What holds is RFC 8032 section 5.1.7 as the library that checks single signatures reads it: `S` below the group's order,
//! and `[S]B - [k]A` written out is `R` byte for byte. Both ways agree on every signature there is, crafted ones included; a
//! check of many signatures at once by one random sum would not (a part of small order can cancel out of it).

use std::collections::HashMap;
use std::sync::LazyLock;

use curve25519_dalek::constants::ED25519_BASEPOINT_POINT;
use curve25519_dalek::edwards::{CompressedEdwardsY, EdwardsPoint};
use curve25519_dalek::scalar::Scalar;
use curve25519_dalek::traits::Identity as _;
use sha2::{Digest as _, Sha512};

/// From how many signatures by one key on its multiples are worth their making: about what that takes of checks without.
const WORTH_IT: usize = 40;

/// Of how many keys multiples are kept, so that a folder with a key in every record does not fill memory: 1.2 MB each.
const MOST: usize = 24;

/// Bits of a scalar that are looked up at once. One more would take 3 % less time, and twice the memory.
const BITS: u32 = 9;

/// Digits of a scalar, of which the last takes what is carried.
const PLACES: usize = 256_usize.div_ceil(BITS as usize);

/// The largest digit: half of the base, since a digit may be negative.
const LARGEST: usize = 1 << (BITS - 1);

/// What is known of keys that were seen. One for each thread that checks.
#[derive(Debug, Default)]
pub struct KnownKeys {
    keys: HashMap<[u8; 32], Known>,
    with_multiples: usize,
}

#[derive(Debug)]
enum Known {
    Seen(usize),
    /// Of the key's point, its sign turned.
    Multiples(Box<Multiples>),
    /// Not a point of the curve.
    NoPoint,
}

impl KnownKeys {
    /// Whether `signature` over `message` is of `key`. `None` while the key was seen too seldom: the library is to tell.
    pub fn has_signed(&mut self, key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> Option<bool> {
        let known = self.keys.entry(*key).or_insert(Known::Seen(0));
        if let Known::Seen(times) = known {
            *times += 1;
            if *times <= WORTH_IT || self.with_multiples == MOST {
                return None;
            }
            self.with_multiples += 1;
            *known = CompressedEdwardsY(*key)
                .decompress()
                .map_or(Known::NoPoint, |point| Known::Multiples(Box::new(Multiples::of(&-point))));
        }
        match known {
            Known::Seen(_) => None,
            Known::NoPoint => Some(false),
            Known::Multiples(turned) => Some(turned.fits(key, message, signature)),
        }
    }
}

/// `1..=LARGEST` times a point, times each power of the base.
#[derive(Debug)]
struct Multiples {
    rows: Vec<[EdwardsPoint; LARGEST]>,
}

/// Those of the base point, for all threads.
static BASE: LazyLock<Multiples> = LazyLock::new(|| Multiples::of(&ED25519_BASEPOINT_POINT));

impl Multiples {
    fn of(point: &EdwardsPoint) -> Self {
        let mut rows = Vec::with_capacity(PLACES);
        let mut one = *point;
        for _ in 0..PLACES {
            let mut row = [one; LARGEST];
            for n in 1..LARGEST {
                row[n] = row[n - 1] + one;
            }
            one = row[LARGEST - 1] + row[LARGEST - 1];
            rows.push(row);
        }
        Self { rows }
    }

    /// The multiple that each digit asks for, whatever its sign; any, where it is 0.
    fn picked(&self, digits: &[i16; PLACES]) -> [EdwardsPoint; PLACES] {
        std::array::from_fn(|place| self.rows[place][usize::from(digits[place].unsigned_abs()).saturating_sub(1)])
    }

    fn fits(&self, key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
        let (mut r, mut s) = ([0; 32], [0; 32]);
        r.copy_from_slice(&signature[..32]);
        s.copy_from_slice(&signature[32..]);
        let Some(s) = Option::<Scalar>::from(Scalar::from_canonical_bytes(s)) else { return false };
        let k = Sha512::new().chain_update(r).chain_update(key).chain_update(message).finalize();
        let k = Scalar::from_bytes_mod_order_wide(&k.into());
        let (s, k) = (digits(&s), digits(&k));
        // Fetched ahead of the sum: then memory is waited for once, not at each of them.
        let (of_base, of_key) = (BASE.picked(&s), self.picked(&k));
        let mut sum = EdwardsPoint::identity();
        add(&mut sum, &of_base, &s);
        add(&mut sum, &of_key, &k);
        sum.compress().0 == r
    }
}

/// Adds what was picked by `digits`, each with its sign.
fn add(sum: &mut EdwardsPoint, picked: &[EdwardsPoint; PLACES], digits: &[i16; PLACES]) {
    for (picked, digit) in picked.iter().zip(digits) {
        match digit {
            0 => {}
            1.. => *sum += picked,
            ..0 => *sum -= picked,
        }
    }
}

/// The digits of a scalar to the base of `2 * LARGEST`, the lowest first, none above `LARGEST` and all above `-LARGEST`.
fn digits(scalar: &Scalar) -> [i16; PLACES] {
    let mut digits = [0; PLACES];
    let (mut held, mut bits, mut carry) = (0_u32, 0, 0);
    let mut bytes = scalar.as_bytes().iter();
    for digit in &mut digits {
        while bits < BITS {
            held |= u32::from(bytes.next().copied().unwrap_or_default()) << bits;
            bits += 8;
        }
        let whole = (held & ((1 << BITS) - 1)) as i16 + carry;
        (held, bits) = (held >> BITS, bits - BITS);
        carry = i16::from(whole > LARGEST as i16);
        *digit = whole - (carry << BITS);
    }
    digits
}

#[cfg(test)]
mod tests {
    use curve25519_dalek::constants::EIGHT_TORSION;
    use ed25519_dalek::{Signer as _, SigningKey, Verifier as _, VerifyingKey};
    use proptest::prelude::*;

    use super::*;

    /// Of the check with multiples, however often the key was seen.
    fn fits(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
        CompressedEdwardsY(*key).decompress().is_some_and(|point| Multiples::of(&-point).fits(key, message, signature))
    }

    fn library(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
        let signature = ed25519_dalek::Signature::from_bytes(signature);
        VerifyingKey::from_bytes(key).is_ok_and(|key| key.verify(message, &signature).is_ok())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn digits_add_up_to_their_scalar(bytes: [u8; 32]) {
            let scalar = Scalar::from_bytes_mod_order(bytes);
            let base = Scalar::from(2 * LARGEST as u64);
            let sum = digits(&scalar).iter().rev().fold(Scalar::ZERO, |sum, digit| {
                let size = Scalar::from(u64::from(digit.unsigned_abs()));
                sum * base + if *digit < 0 { -size } else { size }
            });
            prop_assert_eq!(sum, scalar);
            prop_assert!(digits(&scalar).iter().all(|digit| usize::from(digit.unsigned_abs()) <= LARGEST));
        }

        /// Good ones, ones with a bit turned, and ones whose S was raised by the group's order.
        #[test]
        fn it_says_what_the_library_says(
            seed: [u8; 32],
            message in proptest::collection::vec(any::<u8>(), 0..150),
            turned in proptest::option::of(0..512_usize),
            raised: bool,
        ) {
            let private = SigningKey::from_bytes(&seed);
            let key = private.verifying_key().to_bytes();
            let mut signature = private.sign(&message).to_bytes();
            if let Some(bit) = turned {
                signature[bit / 8] ^= 1 << (bit % 8);
            }
            if raised {
                raise(&mut signature);
            }
            prop_assert_eq!(fits(&key, &message, &signature), library(&key, &message, &signature));
            prop_assert_eq!(fits(&key, &message, &signature), turned.is_none() && !raised);
        }

        /// By keys and with R that hold a part of small order: only the whole equation may be taken, and by both alike.
        #[test]
        fn parts_of_small_order_do_not_part_it_from_the_library(
            secret: [u8; 32], nonce: [u8; 32], in_key in 0..8_usize, in_r in 0..8_usize, message: [u8; 20],
        ) {
            let (secret, nonce) = (Scalar::from_bytes_mod_order(secret), Scalar::from_bytes_mod_order(nonce));
            let point = EdwardsPoint::mul_base(&secret) + EIGHT_TORSION[in_key];
            let key = point.compress().0;
            let r = (EdwardsPoint::mul_base(&nonce) + EIGHT_TORSION[in_r]).compress().0;
            let k = Sha512::new().chain_update(r).chain_update(key).chain_update(message).finalize();
            let s = nonce + Scalar::from_bytes_mod_order_wide(&k.into()) * secret;
            let mut signature = [0; 64];
            signature[..32].copy_from_slice(&r);
            signature[32..].copy_from_slice(s.as_bytes());
            let known = fits(&key, &message, &signature);
            prop_assert_eq!(known, library(&key, &message, &signature));
            prop_assert!(known || in_key != 0 || in_r != 0);
            prop_assert!(!known || in_key != 0 || in_r == 0);
        }
    }

    /// Adds the order of the group (RFC 8032 section 5.1) to S.
    fn raise(signature: &mut [u8; 64]) {
        let order = (Scalar::ZERO - Scalar::ONE).to_bytes();
        let mut carry = 1;
        for (byte, more) in signature[32..].iter_mut().zip(order) {
            carry += u16::from(*byte) + u16::from(more);
            *byte = carry as u8;
            carry >>= 8;
        }
    }

    /// Points of small order, and bytes that are no point: as keys and as R.
    #[test]
    fn odd_keys_are_judged_as_the_library_judges_them() {
        let mut odd: Vec<[u8; 32]> = EIGHT_TORSION.iter().map(|point| point.compress().0).collect();
        // The same in forms that are not the shortest, and what is not on the curve.
        odd.extend([[0xff; 32], [2; 32], [0xee; 32]]);
        odd.push(std::array::from_fn(|at| {
            if at == 0 {
                0xee
            } else if at == 31 {
                0x7f
            } else {
                0xff
            }
        }));
        let mut taken = 0;
        for key in &odd {
            for r in &odd {
                for s in 0..3_u8 {
                    let mut signature = [0; 64];
                    signature[..32].copy_from_slice(r);
                    signature[32] = s;
                    let known = fits(key, b"x", &signature);
                    assert_eq!(known, library(key, b"x", &signature), "{key:?} {r:?} {s}");
                    taken += usize::from(known);
                }
            }
        }
        assert!(taken > 0, "some of them are taken by the plain equation, by both");
    }

    #[test]
    fn a_key_is_left_to_the_library_until_it_was_seen_often_and_no_more_than_so_many_are_kept() {
        let mut known = KnownKeys::default();
        let private = SigningKey::from_bytes(&[1; 32]);
        let key = private.verifying_key().to_bytes();
        let signature = private.sign(b"x").to_bytes();
        let told: Vec<_> = (0..=WORTH_IT).map(|_| known.has_signed(&key, b"x", &signature)).collect();
        assert!(told[..WORTH_IT].iter().all(Option::is_none));
        assert_eq!(told[WORTH_IT], Some(true));
        assert_eq!(known.has_signed(&key, b"y", &signature), Some(false));
        known.with_multiples = MOST;
        let other = SigningKey::from_bytes(&[2; 32]);
        let signature = other.sign(b"x").to_bytes();
        for _ in 0..3 * WORTH_IT {
            assert_eq!(known.has_signed(&other.verifying_key().to_bytes(), b"x", &signature), None);
        }
        assert_eq!(known.has_signed(&key, b"x", &private.sign(b"x").to_bytes()), Some(true));
    }
}

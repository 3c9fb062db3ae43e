//! Printed module labels as seen in listings, disclosures and service guides.
//!
//! Source: `labels/labels.tsv`, every row with where it was seen.

use slotwise::module::{Kind, Label};

#[test]
fn labels_seen_in_the_field_read_as_decoded_there() {
    let shared = std::env::var("SLOTWISE_SHARED")
        .unwrap_or_else(|_| concat!(env!("CARGO_MANIFEST_DIR"), "/../shared").to_owned());
    let path = format!("{shared}/data/labels/labels.tsv");
    let Ok(text) = std::fs::read_to_string(&path) else {
        println!("SKIPPED: {path} is not at hand");
        return;
    };
    let mut held = 0;
    for line in text.lines().skip(1) {
        let row: Vec<&str> = line.split('\t').collect();
        let seen = row[1];
        if row[10] == "-" {
            // A size and ranks alone: no label.
            assert!(Label::parse(seen).is_err(), "{seen}");
            continue;
        }
        let label = Label::parse(seen).unwrap_or_else(|error| panic!("{seen}: {error}"));
        assert_eq!(format!("{}", label.generation), row[3].trim_end_matches('L'), "{seen}");
        assert_eq!(label.volts == "1.35", row[3] == "DDR3L", "{seen}");
        assert_eq!(label.mts.0.to_string(), row[10], "{seen}");
        if let Some(gib) = label.gib {
            assert_eq!(gib.gib_text(), row[4], "{seen}");
        }
        if let Some(ranks) = label.ranks() {
            assert_eq!(ranks.to_string(), row[7], "{seen}");
            assert_eq!(format!("x{}", label.width.unwrap()), row[8], "{seen}");
        } else {
            assert_eq!(row[7], "-", "{seen}");
        }
        let kind = match row[9] {
            "RDIMM" => Some(Kind::RDIMM),
            "LRDIMM" => Some(Kind::LRDIMM),
            "ECC UDIMM" => Some(Kind::EccUdimm),
            "UDIMM" => Some(Kind::UDIMM),
            "SO-DIMM" => Some(Kind::SODIMM),
            _ => None,
        };
        if kind.is_some() {
            assert_eq!(label.kind, kind, "{seen}");
        }
        if row[17].starts_with("implausible") {
            assert!(label.doubt().is_some(), "{seen}");
        }
        held += 1;
    }
    assert!(held >= 24, "{held}");
}

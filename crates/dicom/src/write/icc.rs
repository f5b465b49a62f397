//! The colour profile of colour pictures.

/// Tags of the profile.
const COUNT: usize = 9;

/// An input profile (ICC.1:2001-04) with the primaries of sRGB (IEC 61966-2-1, adapted to D50) and a gamma of 2.2. It
/// says how to show the picture, not what the lasers' colours are: wide-field colour objects must carry a profile.
pub(super) fn profile() -> Vec<u8> {
    let curve = [&b"curv\0\0\0\0"[..], &1u32.to_be_bytes(), &563u16.to_be_bytes(), &[0, 0]].concat();
    let tags: [(&[u8; 4], Vec<u8>); COUNT] = [
        (b"desc", description("sRGB primaries, gamma 2.2")),
        (b"cprt", [&b"text\0\0\0\0"[..], b"No copyright\0"].concat()),
        (b"wtpt", xyz([0.9642, 1.0, 0.8249])),
        (b"rXYZ", xyz([0.4361, 0.2225, 0.0139])),
        (b"gXYZ", xyz([0.3851, 0.7169, 0.0971])),
        (b"bXYZ", xyz([0.1431, 0.0606, 0.7141])),
        (b"rTRC", curve.clone()),
        (b"gTRC", curve.clone()),
        (b"bTRC", curve),
    ];
    let mut table = (u32::try_from(COUNT).unwrap_or(0)).to_be_bytes().to_vec();
    let mut data = Vec::new();
    let start = 128 + 4 + 12 * COUNT;
    for (name, body) in tags {
        table.extend_from_slice(name);
        table.extend_from_slice(&word(start + data.len()));
        table.extend_from_slice(&word(body.len()));
        data.extend_from_slice(&body);
        data.resize(data.len().next_multiple_of(4), 0);
    }
    let mut out = head(start + data.len());
    out.extend_from_slice(&table);
    out.extend_from_slice(&data);
    out
}

fn word(v: usize) -> [u8; 4] {
    u32::try_from(v).unwrap_or(u32::MAX).to_be_bytes()
}

/// The header of 128 bytes.
fn head(size: usize) -> Vec<u8> {
    let mut h = vec![0; 128];
    h[..4].copy_from_slice(&word(size));
    h[8] = 2; // version 2.4
    h[9] = 0x40;
    h[12..16].copy_from_slice(b"scnr");
    h[16..20].copy_from_slice(b"RGB ");
    h[20..24].copy_from_slice(b"XYZ ");
    h[24..36].copy_from_slice(&[0x07, 0xEA, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0]); // 2026-01-01
    h[36..40].copy_from_slice(b"acsp");
    h[68..80].copy_from_slice(&xyz([0.9642, 1.0, 0.8249])[8..]);
    h
}

/// Text description, ASCII only.
fn description(text: &str) -> Vec<u8> {
    let mut out = [&b"desc\0\0\0\0"[..], &word(text.len() + 1), text.as_bytes(), &[0]].concat();
    out.resize(out.len() + 8 + 3 + 67, 0);
    out
}

/// A colour as three numbers with 16 bits after the point.
fn xyz(v: [f64; 3]) -> Vec<u8> {
    let mut out = b"XYZ \0\0\0\0".to_vec();
    for v in v {
        #[allow(clippy::cast_possible_truncation)] // constants below 2
        out.extend_from_slice(&((v * 65536.0).round() as i32).to_be_bytes());
    }
    out
}

//! Stored values to the full range of their samples.

use super::{Raw, Stored};

/// Stretches what is stored to all 8 or all 16 bits: values of up to 8 bits become bytes, others words. Signed values
/// are lifted, so that the lowest becomes zero.
///
/// Example: 12 bits stored, value 4095 becomes 65535.
pub(super) fn full_range(raw: Raw) -> Stored {
    let bits = u32::from(raw.bits.clamp(1, 16));
    let top = (1u32 << bits) - 1;
    let sign = if raw.signed { 1u32 << (bits - 1) } else { 0 };
    let whole = move |v: u32| (v & top) ^ sign;
    match raw.stored {
        Stored::U8(v) if bits >= 8 && sign == 0 => Stored::U8(v),
        Stored::U16(v) if bits == 16 && sign == 0 => Stored::U16(v),
        Stored::U8(v) => Stored::U8(v.into_iter().map(|v| byte(whole(v.into()), top)).collect()),
        Stored::U16(v) if bits <= 8 => {
            Stored::U8(v.into_iter().map(|v| byte(whole(v.into()), top)).collect())
        }
        Stored::U16(v) => Stored::U16(v.into_iter().map(|v| word(whole(v.into()), top)).collect()),
    }
}

fn byte(v: u32, top: u32) -> u8 {
    u8::try_from((v.min(top) * 255 + top / 2) / top).unwrap_or(u8::MAX)
}

fn word(v: u32, top: u32) -> u16 {
    u16::try_from((u64::from(v.min(top)) * 65535 + u64::from(top / 2)) / u64::from(top)).unwrap_or(u16::MAX)
}

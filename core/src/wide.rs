//! Divisions of 128-bit integers, each in one place: a processor of 32 bits takes a thousand bytes for one,
//! and the compiler would write it out wherever it stands.

/// `a / b` towards zero. `b` is above zero.
#[inline(never)]
pub const fn div(a: i128, b: i128) -> i128 {
    a / b
}

/// `a / b` rounded down. `b` is above zero, and `a` far from the ends.
pub const fn div_floor(a: i128, b: i128) -> i128 {
    div(if a < 0 { a - (b - 1) } else { a }, b)
}

/// `a / b` rounded up, likewise.
pub const fn div_ceil(a: i128, b: i128) -> i128 {
    div(if a > 0 { a + (b - 1) } else { a }, b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// As by the remainder.
        #[test]
        fn quotients_are_rounded(a in any::<i64>(), c in any::<i64>(), b in 1..i64::MAX) {
            let (a, b) = (i128::from(a) * i128::from(c), i128::from(b));
            prop_assert_eq!(div_floor(a, b), a.div_euclid(b));
            prop_assert_eq!(div_ceil(a, b), -(-a).div_euclid(b));
            prop_assert_eq!(div_ceil(b, b) + div_floor(-b, b), 0);
        }
    }
}

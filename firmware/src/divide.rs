//! Division of 64 bits for a processor that has none, in little code. Where both numbers have 32 bits, as most
//! have, it is as quick as the compiler's own; else it takes a step for each bit of the quotient.

/// Quotient and remainder; of a division by zero the quotient is nonsense.
#[must_use]
pub fn divide(number: u64, divisor: u64) -> (u64, u64) {
    if let (Ok(number), Ok(divisor @ 1..)) = (u32::try_from(number), u32::try_from(divisor)) {
        return ((number / divisor).into(), (number % divisor).into());
    }
    // As far to the left as it can have a part in the number.
    let mut steps = divisor.leading_zeros().saturating_sub(number.leading_zeros());
    let (mut part, mut quotient, mut rest) = (divisor << steps, 0, number);
    loop {
        quotient <<= 1;
        if rest >= part {
            rest -= part;
            quotient |= 1;
        }
        if steps == 0 {
            return (quotient, rest);
        }
        part >>= 1;
        steps -= 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Numbers of every length by numbers of every length, and those beside the powers of two.
    #[test]
    fn divides_as_the_processor_does() {
        let mut seed = 0x2545_f491_4f6c_dd1d_u64;
        let mut random = || {
            seed ^= seed << 13;
            seed ^= seed >> 7;
            seed ^= seed << 17;
            seed
        };
        for bits in 0..64 * 64 {
            let (long, short) = (bits / 64, bits % 64);
            let edges = [(1 << long) - 1, 1 << long, random() >> long];
            for number in edges.into_iter().chain([u64::MAX, 0]) {
                for divisor in [(1 << short) - 1, 1 << short, (1 << short) + 1, random() >> short, u64::MAX] {
                    if divisor != 0 {
                        assert_eq!(divide(number, divisor), (number / divisor, number % divisor));
                    }
                }
            }
        }
    }
}

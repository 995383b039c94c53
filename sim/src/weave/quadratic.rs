//! Small quadratic programs: the step of a solver that goes by linear models of its constraints.

/// Maximise `gain . x - x . x / (2 length)` with `row . x <= limit` for each row.
///
/// The square keeps the step short, and leaves alone what makes no difference.
#[derive(Debug, Clone, Default)]
pub struct Program {
    /// What each component of x is worth.
    pub gain: Vec<f64>,
    /// How long steps may become: the unconstrained x is `length * gain`.
    pub length: f64,
    /// The rows, one after the other, each with as many numbers as x has.
    pub rows: Vec<f64>,
    /// The limit of each row.
    pub limits: Vec<f64>,
}

/// A figure below this is nothing but rounding: the programs have coefficients of about 1.
const ROUNDING: f64 = 1e-12;
/// A row whose part at right angles to the active rows has a smaller square than this follows from them.
const DEPENDENT: f64 = 1e-10;

impl Program {
    /// The best x, or none where no x keeps to every row or too many steps were needed.
    ///
    /// The dual active-set method of Goldfarb and Idnani (1983): it starts from the x without rows, and takes the row
    /// that x breaks most into the active ones, until x breaks none.
    #[must_use]
    pub fn solve(&self) -> Option<Vec<f64>> {
        let n = self.gain.len();
        let row = |j: usize| &self.rows[j * n..(j + 1) * n];
        let mut x: Vec<f64> = self.gain.iter().map(|gain| gain * self.length).collect();
        let mut active: Vec<(usize, f64)> = Vec::new();
        for _ in 0..40 * (n + 5) {
            let worst = (0..self.limits.len())
                .map(|j| (dot(row(j), &x) - self.limits[j], j))
                .max_by(|a, b| a.0.total_cmp(&b.0));
            let Some((mut excess, entering)) = worst else { return Some(x) };
            if excess <= ROUNDING || active.iter().any(|(j, _)| *j == entering) {
                return Some(x);
            }
            let mut multiplier = 0.0;
            loop {
                let normals: Vec<&[f64]> = active.iter().map(|(j, _)| row(*j)).collect();
                let shares = least_squares(&normals, row(entering))?;
                let mut direction = row(entering).to_vec();
                for (normal, share) in normals.iter().zip(&shares) {
                    add(&mut direction, -share, normal);
                }
                // The first active row whose multiplier would become negative.
                let blocking = active
                    .iter()
                    .zip(&shares)
                    .enumerate()
                    .filter(|(_, (_, share))| **share > ROUNDING)
                    .map(|(at, ((_, multiplier), share))| (multiplier / share, at))
                    .min_by(|a, b| a.0.total_cmp(&b.0));
                let square = dot(&direction, &direction);
                let whole = if square > DEPENDENT { excess / square } else { f64::INFINITY };
                let part = blocking.map_or(f64::INFINITY, |(part, _)| part);
                let t = whole.min(part);
                if !t.is_finite() {
                    return None;
                }
                multiplier += t;
                for ((_, multiplier), share) in active.iter_mut().zip(&shares) {
                    *multiplier -= t * share;
                }
                if square > DEPENDENT {
                    add(&mut x, -t, &direction);
                    excess -= t * square;
                }
                match blocking {
                    Some((part, at)) if part < whole => _ = active.remove(at),
                    _ => {
                        active.push((entering, multiplier));
                        break;
                    }
                }
            }
        }
        None
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Adds `factor * b` to `a`.
fn add(a: &mut [f64], factor: f64, b: &[f64]) {
    for (a, b) in a.iter_mut().zip(b) {
        *a += factor * b;
    }
}

/// The shares of the vectors whose sum is nearest to the target, by Cholesky's decomposition of the normal equations.
/// None where the vectors are not independent.
fn least_squares(vectors: &[&[f64]], target: &[f64]) -> Option<Vec<f64>> {
    let n = vectors.len();
    let mut lower = vec![0.0; n * n];
    for i in 0..n {
        for j in 0..=i {
            let rest = dot(vectors[i], vectors[j]) - dot(&lower[i * n..i * n + j], &lower[j * n..j * n + j]);
            if i == j {
                if rest <= 0.0 {
                    return None;
                }
                lower[i * n + i] = rest.sqrt();
            } else {
                lower[i * n + j] = rest / lower[j * n + j];
            }
        }
    }
    let mut shares: Vec<f64> = vectors.iter().map(|vector| dot(vector, target)).collect();
    for i in 0..n {
        let known = dot(&lower[i * n..i * n + i], &shares[..i]);
        shares[i] = (shares[i] - known) / lower[i * n + i];
    }
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|k| lower[k * n + i] * shares[k]).sum();
        shares[i] = (shares[i] - known) / lower[i * n + i];
    }
    Some(shares)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
mod tests {
    use super::*;

    fn solved(gain: &[f64], rows: &[f64], limits: &[f64]) -> Option<Vec<f64>> {
        let (rows, limits) = (rows.to_vec(), limits.to_vec());
        Program { gain: gain.to_vec(), length: 2.0, rows, limits }.solve()
    }

    /// Without rows, on a row, in a corner, and between rows that no x keeps to.
    #[test]
    fn programs_by_hand() {
        assert_eq!(solved(&[1.0, -0.5], &[], &[]).unwrap(), [2.0, -1.0]);
        // The nearest point of x + y <= 2 to (4, 2).
        let on_row = solved(&[2.0, 1.0], &[1.0, 1.0], &[2.0]).unwrap();
        assert!((on_row[0] - 2.0).abs() < 1e-12 && on_row[1].abs() < 1e-12, "{on_row:?}");
        let corner = solved(&[2.0, 1.0], &[1.0, 0.0, 0.0, 1.0, 1.0, 1.0], &[1.0, 0.5, 9.0]).unwrap();
        assert!((corner[0] - 1.0).abs() < 1e-12 && (corner[1] - 0.5).abs() < 1e-12, "{corner:?}");
        assert_eq!(solved(&[1.0], &[1.0, -1.0], &[1.0, -2.0]), None);
    }

    /// Of many points that keep to random rows none is better than the solution, which keeps to them too.
    #[test]
    fn no_point_is_better_than_the_solution() {
        let mut random = fastrand::Rng::with_seed(5);
        for _ in 0..200 {
            let mut numbers = |n: usize| -> Vec<f64> { (0..n).map(|_| random.f64() * 2.0 - 1.0).collect() };
            let (gain, rows) = (numbers(3), numbers(24));
            let limits: Vec<f64> = numbers(8).iter().map(|limit| 0.2 * limit.abs()).collect();
            let best = solved(&gain, &rows, &limits).unwrap();
            let worth = |x: &[f64]| dot(&gain, x) - dot(x, x) / 4.0;
            let breach = |x: &[f64]| {
                rows.chunks_exact(3).zip(&limits).map(|(row, limit)| dot(row, x) - limit).fold(0.0, f64::max)
            };
            assert!(breach(&best) < 1e-9);
            for _ in 0..200 {
                let near: Vec<f64> = best.iter().zip(numbers(3)).map(|(at, by)| at + 0.3 * by).collect();
                assert!(breach(&near) > 0.0 || worth(&near) <= worth(&best) + 1e-9);
            }
        }
    }
}

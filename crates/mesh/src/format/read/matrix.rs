//! Affine placements of parts, as 3MF and glTF have them.

/// Rows of a 3 x 4 matrix: a point p goes to M p + t.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placement(pub [[f64; 4]; 3]);

impl Placement {
    pub const STAY: Placement = Placement([
        [1.0, 0.0, 0.0, 0.0],
        [0.0, 1.0, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0],
    ]);

    /// From numbers in columns: three columns of the matrix, then the shift.
    pub fn from_columns(c: [[f64; 3]; 4]) -> Placement {
        Placement([0, 1, 2].map(|row| [c[0][row], c[1][row], c[2][row], c[3][row]]))
    }

    pub fn apply(&self, p: [f64; 3]) -> [f64; 3] {
        self.0
            .map(|r| r[0] * p[0] + r[1] * p[1] + r[2] * p[2] + r[3])
    }

    /// First `inner`, then this.
    pub fn after(&self, inner: &Placement) -> Placement {
        let m = self.0;
        let n = inner.0;
        Placement([0, 1, 2].map(|i| {
            [0, 1, 2, 3].map(|j| {
                let shift = if j == 3 { m[i][3] } else { 0.0 };
                m[i][0] * n[0][j] + m[i][1] * n[1][j] + m[i][2] * n[2][j] + shift
            })
        }))
    }

    /// Turns right-handed into left-handed: triangles must be turned too.
    pub fn mirrors(&self) -> bool {
        let m = self.0;
        let minor = |a: usize, b: usize| m[1][a] * m[2][b] - m[1][b] * m[2][a];
        m[0][0] * minor(1, 2) - m[0][1] * minor(0, 2) + m[0][2] * minor(0, 1) < 0.0
    }
}

//! Elastic layer bonded to a rigid base, pressed from above without friction.
//!
//! Exact in the wave-number domain; nothing here is fitted. Symbols: q [1/m] wave number, H [m]
//! thickness, t = q H, E [Pa] Young's modulus, nu Poisson's ratio.

/// Ratio of the layer's surface compliance to that of a half-space at `t` = q H.
///
/// ```text
/// L(t) = (2 k sinh 2t - 4 t) / (2 k cosh 2t + 1 + k^2 + 4 t^2),   k = 3 - 4 nu
/// ```
/// Goes to 1 for short waves and to zero as t for long ones.
///
/// * `t`: 0 or more
/// * `poisson`: 0 to 0.5
///
/// Source: Meijers 1968, Appl. Sci. Res. 18:353; Johnson 1985, Contact Mechanics, section 5.8.
#[must_use]
pub fn half_space_ratio(t: f64, poisson: f64) -> f64 {
    let k = 3.0 - 4.0 * poisson;
    // Every term times exp(-2 t), so that large t does not overflow.
    let e = (-2.0 * t).exp();
    let top = k * (1.0 - e * e) - 4.0 * t * e;
    let bottom = k * (1.0 + e * e) + (1.0 + k * k + 4.0 * t * t) * e;
    top / bottom
}

/// [Pa] Oedometric modulus: stiffness of a layer that cannot widen. Infinite at nu 0.5.
#[must_use]
pub fn oedometric_modulus(youngs: f64, poisson: f64) -> f64 {
    youngs * (1.0 - poisson) / ((1.0 + poisson) * (1.0 - 2.0 * poisson))
}

/// [m/Pa] Sinking of the surface per pressure of wave number `q`.
///
/// ```text
/// w = p 2 (1 - nu^2) / (E q) L(q H);   q = 0: p H / M
/// ```
#[must_use]
pub fn compliance(q: f64, thickness: f64, youngs: f64, poisson: f64) -> f64 {
    let t = q * thickness;
    if t < 1e-4 {
        // The quotient loses digits here and the limit is reached to t^2.
        return thickness / oedometric_modulus(youngs, poisson).min(f64::MAX);
    }
    2.0 * (1.0 - poisson * poisson) / (youngs * q) * half_space_ratio(t, poisson)
}

/// Vertical stress at depth over pressure at the surface, for wave number `q` and nu = 0.
///
/// ```text
/// T = f(s) / f(t),   s = q (H - z)
/// f(s) = cosh s - (s/2) sinh s + b (s cosh s + sinh s)
/// b = (t cosh t - sinh t) / (2 (2 cosh t + t sinh t))
/// ```
/// For t above 50 the half-space form (1 + q z) exp(-q z).
///
/// * `depth`: \[m\] below the surface, 0 to `thickness`
///
/// Source: Airy stress function of the layer, own derivation; held by the identity
/// `integral of T over the depth = (2/q) L(q H)` at nu = 0.
#[must_use]
pub fn stress_at_depth(q: f64, depth: f64, thickness: f64) -> f64 {
    let t = q * thickness;
    if t > 50.0 {
        return (1.0 + q * depth) * (-q * depth).exp();
    }
    if t < 1e-6 {
        return 1.0;
    }
    let s = q * (thickness - depth);
    // cosh and sinh without their growth exp(s), exp(t); the quotient of the growths comes last.
    let (es, et) = ((-2.0 * s).exp(), (-2.0 * t).exp());
    let (cs, ss) = ((1.0 + es) / 2.0, (1.0 - es) / 2.0);
    let (ct, st) = ((1.0 + et) / 2.0, (1.0 - et) / 2.0);
    let b = 0.5 * (t * ct - st) / (2.0 * ct + t * st);
    let f = |x: f64, c: f64, s: f64| c - 0.5 * x * s + b * (x * c + s);
    (s - t).exp() * f(s, cs, ss) / f(t, ct, st)
}

/// [m] Sinking of the surface of a bonded nu = 0 layer at distance `x` from a line load, times E/Q
/// (so without unit), by quadrature of the kernel.
///
/// * `x_over_thickness`: above 0
#[must_use]
pub fn line_load(x_over_thickness: f64) -> f64 {
    // w E / Q = (2/pi) int L(t)/t cos(t x) dt. Subtract 1/t - 1/t exp(-t), whose transform is
    // known, so that the rest converges like exp(-t).
    let x = x_over_thickness;
    let closed = 0.5 * ((1.0 + x * x) / (x * x)).ln();
    let n = 20_000;
    let top = 40.0;
    let step = top / f64::from(n);
    let rest = |i: u32| {
        let t = (f64::from(i) + 0.5) * step;
        ((half_space_ratio(t, 0.0) - 1.0 + (-t).exp()) / t) * (t * x).cos() * step
    };
    2.0 / std::f64::consts::PI * (closed + base::sum::sum((0..n).map(rest)))
}

/// What a traction on the surface does to it, for wave number `q`: sinking per pressure and
/// sinking per sideways traction, both \[m/Pa\].
///
/// A pressure wave p cos(q x) sinks the surface by `first` p cos(q x); a traction T cos(q x)
/// along x on the layer sinks it by -`second` T sin(q x). For short waves `second` is
/// (1 - 2 nu)(1 + nu) / (E q): a pulled surface rises ahead of the pull and sinks behind it.
///
/// Plane strain solution of Navier's equations with the four exponentials and the base held, own
/// derivation; held by the closed kernel and by the half-space (Johnson 1985, eq. 2.30).
///
/// * `q`: above 0
#[must_use]
pub fn coupled(q: f64, thickness: f64, youngs: f64, poisson: f64) -> (f64, f64) {
    let t = q * thickness;
    let shear = youngs / (2.0 * (1.0 + poisson));
    // Lame's first constant over the shear modulus.
    let lame = 2.0 * poisson / (1.0 - 2.0 * poisson);
    let k = 3.0 - 4.0 * poisson;
    // In units of 1/q: along U = (e, f, z e, z f), down W = (e, -f, (z - k) e, -(z + k) f) with
    // e = exp(z - t), f = exp(-z); z from 0 at the surface to t at the base.
    let (e, f) = ((-t).exp(), 1.0);
    let du = [e, -f, e, f];
    let w0 = [e, -f, -k * e, -k * f];
    let dw = [e, f, (1.0 - k) * e, (k - 1.0) * f];
    let u0 = [e, f, 0.0, 0.0];
    let (eh, fh) = (1.0, (-t).exp());
    let base_u = [eh, fh, t * eh, t * fh];
    let base_w = [eh, -fh, (t - k) * eh, -(t + k) * fh];
    let row = |r: usize, c: usize| match r {
        // Vertical stress and shear stress over (shear modulus q), then the two held places.
        0 => lame * (dw[c] - u0[c]) + 2.0 * dw[c],
        1 => du[c] + w0[c],
        2 => base_u[c],
        _ => base_w[c],
    };
    let matrix = nalgebra::Matrix4::from_fn(row).lu();
    let sink = |load: nalgebra::Vector4<f64>| {
        let a = matrix.solve(&load).unwrap_or_default();
        (0..4).map(|c| a[c] * w0[c]).sum::<f64>() / (shear * q)
    };
    (
        sink(nalgebra::Vector4::new(-1.0, 0.0, 0.0, 0.0)),
        sink(nalgebra::Vector4::new(0.0, 1.0, 0.0, 0.0)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_waves_see_a_half_space_and_long_ones_the_oedometric_modulus() {
        for nu in [0.0, 0.2, 0.45] {
            assert!((half_space_ratio(40.0, nu) - 1.0).abs() < 1e-12);
            let c = compliance(1e-2, 0.02, 1e5, nu);
            let limit = 0.02 / oedometric_modulus(1e5, nu);
            assert!(
                (c / limit - 1.0).abs() < 1e-4,
                "nu {nu}: {c} against {limit}"
            );
        }
    }

    /// int_0^H T dz = (2/q) L(q H) at nu = 0: two expressions derived apart.
    #[test]
    fn stress_over_the_depth_adds_up_to_the_sinking() {
        let thickness = 0.02;
        for q in [10.0, 100.0, 500.0, 2000.0, 5000.0] {
            let n = 20_000;
            let cell = thickness / f64::from(n);
            let sum: f64 = (0..n)
                .map(|i| stress_at_depth(q, (f64::from(i) + 0.5) * cell, thickness) * cell)
                .sum();
            let exact = compliance(q, thickness, 1.0, 0.0);
            assert!(
                (sum / exact - 1.0).abs() < 1e-5,
                "q {q}: {sum} against {exact}"
            );
        }
    }

    #[test]
    fn stress_at_depth_joins_its_half_space_form_smoothly() {
        let h = 0.02;
        for depth in [0.0, 0.0005, 0.002] {
            let below = stress_at_depth(49.99 / h, depth, h);
            let above = stress_at_depth(50.01 / h, depth, h);
            assert!((below / above - 1.0).abs() < 2e-3 && below <= 1.0 + 1e-12);
        }
    }

    /// The pressure column is the closed kernel, derived apart; the traction column is the
    /// half-space's for short waves.
    #[test]
    fn coupled_kernel_meets_the_closed_one_and_the_half_space() {
        for nu in [0.0, 0.3, 0.45] {
            for q in [20.0, 100.0, 400.0, 2000.0] {
                let (pressure, _) = coupled(q, 0.02, 1e5, nu);
                let closed = compliance(q, 0.02, 1e5, nu);
                assert!(
                    (pressure / closed - 1.0).abs() < 1e-9,
                    "{nu} {q}: {pressure} {closed}"
                );
            }
            let (_, pull) = coupled(1500.0, 0.02, 1e5, nu);
            let half_space = (1.0 - 2.0 * nu) * (1.0 + nu) / (1e5 * 1500.0);
            assert!(
                (pull.abs() / half_space - 1.0).abs() < 1e-9,
                "{nu}: {pull} {half_space}"
            );
        }
    }

    /// Table made by an independent program (Fredholm equation and quadrature in Python).
    #[test]
    fn line_load_table() {
        let table =
            crate::law::punch::table(include_str!("../../tests/reference/pad/line_load.csv"));
        assert_eq!(table.len(), 9);
        for row in table {
            let w = line_load(row[0]);
            assert!(
                (w - row[1]).abs() < 1e-4,
                "x/H {}: {w} against {}",
                row[0],
                row[1]
            );
        }
    }
}

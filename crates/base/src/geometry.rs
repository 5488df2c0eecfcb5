//! Vector types of the whole house. nalgebra inside; engines that speak another dialect
//! translate at their own door.

/// Three f64 components. SI and the figure's frame unless the name says otherwise.
pub type Vec3 = nalgebra::Vector3<f64>;
/// 3 x 3 matrix of f64.
pub type Mat3 = nalgebra::Matrix3<f64>;
/// Unit quaternion: a rotation from the figure's frame to the world unless the name says otherwise.
pub type Quat = nalgebra::UnitQuaternion<f64>;

/// Two unit vectors that complete `normal` to a right-handed orthonormal frame.
///
/// Branch at |z| of the normal (Frisvad 2012, J. Graphics Tools 16:151, revised form of
/// Duff et al. 2017, J. Comput. Graph. Tech. 6(1)): no square root, no singular direction.
///
/// * `normal`: unit length
#[must_use]
pub fn tangents(normal: &Vec3) -> (Vec3, Vec3) {
    let sign = 1.0_f64.copysign(normal.z);
    let a = -1.0 / (sign + normal.z);
    let b = normal.x * normal.y * a;
    (
        Vec3::new(
            1.0 + sign * normal.x * normal.x * a,
            sign * b,
            -sign * normal.x,
        ),
        Vec3::new(b, sign + normal.y * normal.y * a, -normal.y),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tangents_complete_a_right_handed_frame() {
        for n in [
            Vec3::z(),
            -Vec3::z(),
            Vec3::x(),
            Vec3::new(0.3, -0.4, -0.866).normalize(),
        ] {
            let (t1, t2) = tangents(&n);
            assert!((t1.norm() - 1.0).abs() < 1e-14 && (t2.norm() - 1.0).abs() < 1e-14);
            assert!(t1.dot(&t2).abs() < 1e-14 && t1.dot(&n).abs() < 1e-14);
            assert!((t1.cross(&t2) - n).norm() < 1e-13);
        }
    }
}

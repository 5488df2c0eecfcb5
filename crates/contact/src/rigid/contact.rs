//! What an engine tells about one contact.

use base::Vec3;

/// The other figure of a contact between two figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Partner {
    /// Which figure of the scene.
    pub body: usize,
    /// [m] where, in the partner's own frame.
    pub place: Vec3,
    /// Unit normal out of the partner, in its own frame.
    pub normal: Vec3,
}

/// One contact: an impact, or one step of a contact that lasts. Vectors in the figure's own frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contact {
    /// Which figure of the scene.
    pub body: usize,
    /// The figure it met; `None` for the box.
    pub partner: Option<Partner>,
    /// Number of the hull corner that touched, where it was one.
    pub vertex: Option<u32>,
    /// [m] where on the figure.
    pub place: Vec3,
    /// Unit normal out of the figure.
    pub normal: Vec3,
    /// [N s] on the figure.
    pub impulse: Vec3,
    /// [m/s] of the figure's point against what it touches, before.
    pub before: Vec3,
    /// [m/s] the same, after.
    pub after: Vec3,
    /// [J] energy lost along the normal.
    pub impact: f64,
    /// [J] friction work.
    pub friction: f64,
    /// [J] work the box did on the figure through this contact.
    pub wall_work: f64,
    /// [kg] mass felt along the normal: impulse per change of normal velocity.
    pub effective_mass: f64,
    /// [m/s] normal speed of approach, 0 or more.
    pub approach: f64,
    /// [s] time it lasted: 0 for an impact (the engine's are instantaneous), else the step.
    pub duration: f64,
    /// True for an impact and for the first step of a lasting contact: one touch.
    pub begins: bool,
}

impl Contact {
    /// [J] what the contact took out of the motion, from impulse and velocities alone:
    /// -J.(v- + v+)/2. Must agree with `impact + friction`, which engines integrate on their own.
    #[must_use]
    pub fn loss(&self) -> f64 {
        -0.5 * self.impulse.dot(&(self.before + self.after))
    }

    /// [m/s] mean slip over the contact.
    #[must_use]
    pub fn slip_speed(&self) -> f64 {
        let mean = 0.5 * (self.before + self.after);
        (mean - self.normal * mean.dot(&self.normal)).norm()
    }
}

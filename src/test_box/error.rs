//! Why no box can be made.

/// Why no box can be made. Every message says what to change.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TestBoxError {
    /// Not a number, or one that the quantity cannot have.
    #[error("{name} is {value}, which it cannot be; measure it again")]
    Impossible {
        /// Which quantity.
        name: &'static str,
        /// Its value, SI.
        value: f64,
    },
    /// Walls that give and leak.
    #[error(
        "the wall is {wall_mm} mm; printed walls below {least_mm} mm leak and give, so make it {least_mm} mm or more"
    )]
    ThinWall {
        /// What was asked for, mm.
        wall_mm: f64,
        /// The least, mm.
        least_mm: f64,
    },
    /// A flange that would fall into the box.
    #[error(
        "the cut-out is {cutout_mm} mm and the flange {flange_mm} mm, but the flange has to be at least {margin_mm} mm wider, or nothing \
         rests on the rim; measure both again (the flange is the driver's outer diameter)"
    )]
    NoRim {
        /// Cut-out, mm.
        cutout_mm: f64,
        /// Flange, mm.
        flange_mm: f64,
        /// How much wider the flange has to be, mm.
        margin_mm: f64,
    },
    /// Less air than the mouth alone needs.
    #[error(
        "{volume_l:.3} L is too little for a cut-out of {cutout_mm} mm: the box would be {depth_mm:.1} mm deep, and the cone needs at least \
         {least_mm} mm before it; ask for {least_l:.3} L or more"
    )]
    TooSmall {
        /// What was asked for, L.
        volume_l: f64,
        /// Cut-out, mm.
        cutout_mm: f64,
        /// How deep the box would be, mm; below zero if hollow and gasket alone hold more than was asked for.
        depth_mm: f64,
        /// The least depth, mm.
        least_mm: f64,
        /// The least volume, L.
        least_l: f64,
    },
    /// Too wide for the printer.
    #[error(
        "the box is at least {across_mm:.1} mm across, and the bed {bed_mm} mm wide; print it on a larger bed (--bed), or make a box of wood"
    )]
    TooWide {
        /// The least diameter that carries the flange, mm.
        across_mm: f64,
        /// The bed's shorter side, mm.
        bed_mm: f64,
    },
    /// Too large for the printer in any shape.
    #[error(
        "no box of {volume_l:.3} L fits the bed: the nearest is {across_mm:.1} mm across and {height_mm:.1} mm high, and the printer takes \
         {bed_width_mm} mm and {bed_height_mm} mm; ask for less volume, or name a larger bed (--bed)"
    )]
    TooLarge {
        /// What was asked for, L.
        volume_l: f64,
        /// Diameter of the nearest box, mm.
        across_mm: f64,
        /// Its height, mm.
        height_mm: f64,
        /// The bed's shorter side, mm.
        bed_width_mm: f64,
        /// How high the printer prints, mm.
        bed_height_mm: f64,
    },
    /// A number of screws that no flange has.
    #[error(
        "{n} screws are no number of screws from {least} to {most}; leave screws off and clamp the driver"
    )]
    ScrewCount {
        /// What was asked for.
        n: usize,
        /// Fewest.
        least: usize,
        /// Most.
        most: usize,
    },
    /// Screws that would open the box or miss the rim.
    #[error(
        "screws on a circle of {circle_mm} mm do not go into the rim; with this cut-out and flange the circle is from {least_mm:.1} mm to \
         {most_mm:.1} mm: measure it again from hole middle to hole middle, or leave screws off and clamp the driver"
    )]
    ScrewCircle {
        /// What was asked for, mm.
        circle_mm: f64,
        /// Least, mm.
        least_mm: f64,
        /// Most, mm.
        most_mm: f64,
    },
    /// Pilot holes that would run into each other.
    #[error(
        "{n} screws on a circle of {circle_mm} mm stand too close to each other or to the rim's edges; state fewer, or leave screws off and clamp the driver"
    )]
    CrowdedScrews {
        /// How many.
        n: usize,
        /// Diameter of their circle, mm.
        circle_mm: f64,
    },
}

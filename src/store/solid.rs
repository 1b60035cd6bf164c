//! Solids as STL files.

use std::path::Path;

use farcone::test_box::Solid;
use stl_io::{Normal, Triangle, Vertex};

use super::{StoreError, write_new};

/// STL has no unit; everything that prints takes it as millimetres.
const MM_PER_M: f64 = 1e3;

/// Writes a solid into a new binary STL file, in millimetres.
pub fn write_new_stl(path: &Path, solid: &Solid) -> Result<(), StoreError> {
    let triangles: Vec<Triangle> = solid
        .triangles
        .iter()
        .map(|corners| {
            let vertices = corners.map(|i| {
                let corner_mm = solid.corners_m[i].map(|length_m| (MM_PER_M * length_m) as f32);
                Vertex::new(corner_mm)
            });
            Triangle {
                normal: Normal::new(solid.normal(*corners)),
                vertices,
            }
        })
        .collect();
    write_new(
        path,
        |file| stl_io::write_stl(file, triangles.iter()),
        |path, source| StoreError::Write { path, source },
    )
}

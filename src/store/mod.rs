//! Files on disk: session folders, takes, sheets. The only room that opens them.
//!
//! Nothing is ever overwritten: a raw take and a result that somebody may have sent around stay what they are. What is
//! written appears whole or not at all, and only one program at a time writes into a session folder.

mod bundle;
mod error;
mod files;
mod folder;
mod load;
mod profile;
mod solid;

pub use bundle::{read_bundle, unpack_bundle};
pub use error::StoreError;
pub use farcone::session::is_table;
pub use files::{
    free_path, make_folder, refuse_existing, safe_file_name, write_new, write_new_text,
};
pub use folder::{SessionFolder, read_session, write_take};
pub use load::{load, read_hashed, read_played, read_sheet};
pub use profile::{
    NewProfile, calibration_takes, copy_calibration, list_profiles, profile_path, read_profile,
    replace_profile,
};
pub use solid::write_new_stl;

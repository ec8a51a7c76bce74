//! Writes the models of the folder `meshes/` anew.
//!
//!   cargo run --release -p bicolumn-verify --example write_meshes
#![allow(clippy::print_stdout)]

use bicolumn_verify::shared_models::files;
use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../meshes");
    for (path, bytes) in files()? {
        let path = root.join(path);
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder)?;
        }
        println!("{:>8} bytes  {}", bytes.len(), path.display());
        std::fs::write(&path, bytes)?;
    }
    Ok(())
}

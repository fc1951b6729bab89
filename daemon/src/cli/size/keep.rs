//! Results in a folder, one file each, so that an interrupted study goes on
//! where it stopped.

use std::io::Write;
use std::path::{Path, PathBuf};

use super::super::{Failure, Problem};

/// Folders of results: one to write to, and perhaps others to read from.
pub(super) struct Keep {
    folders: Vec<PathBuf>,
}

impl Keep {
    /// The folders that are named, or one beside where the program runs, named
    /// after the site file.
    pub(super) fn new(named: &[PathBuf], site: &Path) -> Self {
        if !named.is_empty() {
            return Self { folders: named.to_vec() };
        }
        let mut folder = PathBuf::from(site.file_stem().unwrap_or(site.as_os_str()));
        folder.as_mut_os_string().push(".study");
        Self { folders: vec![folder] }
    }

    /// The text that was kept under a name. What cannot be read was not kept.
    pub(super) fn read(&self, name: &str) -> Option<String> {
        self.folders.iter().find_map(|folder| std::fs::read_to_string(folder.join(name)).ok())
    }

    /// Keeps a text under a name: all of it or nothing, whenever the machine stops.
    pub(super) fn write(&self, name: &str, text: &str) -> Result<(), Problem> {
        let folder = &self.folders[0];
        let path = folder.join(name);
        let began = folder.join(format!(".{name}.{}", std::process::id()));
        let kept = std::fs::create_dir_all(folder)
            .and_then(|()| std::fs::File::create(&began))
            .and_then(|mut file| {
                file.write_all(text.as_bytes())?;
                file.sync_all()
            })
            .and_then(|()| std::fs::rename(&began, &path));
        kept.map_err(|error| {
            Problem::new(
                Failure::Failed,
                format!(
                    "{}: cannot be written: {error}; name another folder with --state",
                    path.display()
                ),
            )
        })
    }

    /// The folders in words.
    pub(super) fn told(&self) -> String {
        self.folders.iter().map(|f| f.display().to_string()).collect::<Vec<_>>().join(", ")
    }
}

//! What can go wrong with the archive, by what can be done about it.

use std::path::PathBuf;

use rusqlite::ErrorCode;

/// Why something was not kept or found.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// Another process has it.
    #[error(
        "`{0}` is in use: another stowheat runs for this site, perhaps in a container; stop one \
         of them"
    )]
    Locked(PathBuf),
    /// The disk is full, or the file as large as it may be.
    #[error("the disk is full; nothing is kept until there is room")]
    Full,
    /// The place cannot be written to.
    #[error("the archive cannot be written ({0}); check the owner and mount of its folder")]
    ReadOnly(String),
    /// The file is damaged.
    #[error("the archive is damaged ({0}); it is set aside at the next start")]
    Damaged(String),
    /// Anything else.
    #[error("the archive does not work: {0}")]
    Other(String),
}

impl ArchiveError {
    pub(super) fn of_file(path: &std::path::Path, error: &std::io::Error) -> Self {
        use std::io::ErrorKind;
        let text = format!("{}: {error}", path.display());
        match error.kind() {
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Self::Full,
            ErrorKind::PermissionDenied
            | ErrorKind::ReadOnlyFilesystem
            | ErrorKind::NotFound
            | ErrorKind::NotADirectory => Self::ReadOnly(text),
            _ => Self::Other(text),
        }
    }
}

impl From<rusqlite::Error> for ArchiveError {
    fn from(error: rusqlite::Error) -> Self {
        let text = error.to_string();
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::ReadOnly(text)
            }
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged(text),
            _ => Self::Other(text),
        }
    }
}

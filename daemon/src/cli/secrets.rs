//! Secrets of the link, from files that nobody else may read.

use std::env;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use crate::service::link::{Credentials, Identity, Tls};
use crate::service::settings::{BrokerSettings, SecretPlace, TlsSettings};

use super::{Failure, Problem};

/// What the broker is shown.
pub(super) struct Secrets {
    pub(super) credentials: Option<Credentials>,
    pub(super) tls: Option<Tls>,
}

/// Reads what the settings of the broker name.
pub(super) fn read(broker: &BrokerSettings) -> Result<Secrets, Problem> {
    let credentials = broker.login.as_ref().map(|(user, place)| {
        let password = secret(place, "password")?;
        let password = String::from_utf8(password).map_err(|_| {
            problem("the password is not UTF-8; write it as text, in the file's first line")
        })?;
        let password = password.trim_end_matches(['\r', '\n']).to_owned();
        Ok(Credentials { user: user.clone(), password })
    });
    Ok(Secrets {
        credentials: credentials.transpose()?,
        tls: broker.tls.as_ref().map(tls).transpose()?,
    })
}

fn tls(settings: &TlsSettings) -> Result<Tls, Problem> {
    let authority = settings.authority.as_deref().map(|path| file(path, "authority of the broker"));
    let identity = settings.identity.as_ref().map(|(path, key)| {
        let certificate = file(path, "client certificate")?;
        Ok(Identity { certificate, key: secret(key, "client key")? })
    });
    Ok(Tls { authority: authority.transpose()?, identity: identity.transpose()? })
}

fn secret(place: &SecretPlace, what: &str) -> Result<Vec<u8>, Problem> {
    let path = match place {
        SecretPlace::File(path) => path.clone(),
        SecretPlace::Credential(name) => {
            let folder = env::var_os("CREDENTIALS_DIRECTORY").ok_or_else(|| {
                problem(&format!(
                    "the {what} is to come from the credential `{name}`, and there are none; run as \
                     a systemd unit with `LoadCredential={name}`, or name a file instead"
                ))
            })?;
            PathBuf::from(folder).join(name)
        }
    };
    let read = file(&path, what)?;
    let mode = fs::metadata(&path).map_or(0, |data| data.permissions().mode());
    if mode & 0o006 != 0 {
        return Err(problem(&format!(
            "{}: everybody on this machine can read or change the {what}; change it, for it is no \
             secret any more, and run `chmod o-rw {0}`",
            path.display()
        )));
    }
    Ok(read)
}

fn file(path: &Path, what: &str) -> Result<Vec<u8>, Problem> {
    fs::read(path).map_err(|error| {
        problem(&format!("{}: the {what} cannot be read: {error}", path.display()))
    })
}

fn problem(text: &str) -> Problem {
    Problem::new(Failure::Site, text)
}

//! `run`: the service, until it is told to stop.

use std::path::Path;
use std::sync::Arc;

use gunwale_protocol::scale::Described;
use tokio::signal::unix::{SignalKind, signal};

use crate::clock::BootClock;
use crate::desk::{Desk, PROGRAM};
use crate::device::{self, button};
use crate::error::{Error, Result};
use crate::lock::Lock;
use crate::records::Records;
use crate::service::Service;
use crate::settings::{self, Settings};
use crate::socket::server;

/// Runs the service on a data directory.
///
/// # Errors
/// When another program holds the directory, or the journal or socket cannot be made.
pub fn run(data: &Path, settings: Settings) -> Result<()> {
    let Some(_lock) = Lock::try_take(data)? else { return Err(Error::Running(data.to_owned())) };
    let devices = devices(&settings);
    if devices.is_empty() {
        tracing::warn!("no device in the settings: give [gps] a port; until then only typed notes come in");
    }
    let desk = Desk::new(data, settings, Arc::new(BootClock), Records::open(data)?);
    let service = Service::start(desk, PROGRAM, devices, Box::new(std::io::stdout()))?;
    let served = serve_until(&service.desk, told_to_stop());
    service.stop();
    served
}

/// The devices the settings name.
pub fn devices(settings: &Settings) -> Vec<device::Spec> {
    let (gps, scale) = (&settings.gps, &settings.scale);
    let gps = gps.port.clone().map(|path| device::Spec {
        name: device::GPS,
        path,
        baud: gps.baud,
        kind: device::Kind::Gps,
        described: Described::default(),
        ask: Vec::new(),
    });
    let scale = scale.port.clone().map(|path| device::Spec {
        name: device::SCALE,
        path,
        baud: scale.baud,
        kind: device::Kind::Scale,
        described: scale.described(),
        ask: scale.asks(),
    });
    gps.into_iter().chain(scale).collect()
}

/// Serves clients on the socket until `over`.
///
/// # Errors
/// When the socket cannot be made.
pub fn serve_until(desk: &Desk, over: impl Future<Output = Result<()>>) -> Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build()?;
    let result = runtime.block_on(async {
        tokio::select! {
            served = server::serve(desk.clone()) => served,
            over = over => over,
        }
    });
    // A client in the middle of a long export is not waited for.
    runtime.shutdown_background();
    result
}

/// Ends on Ctrl-C or when the system asks the service to stop.
pub async fn told_to_stop() -> Result<()> {
    let mut asked = signal(SignalKind::terminate())?;
    tokio::select! {
        interrupted = tokio::signal::ctrl_c() => interrupted?,
        _ = asked.recv() => {}
    }
    tracing::info!("told to stop");
    Ok(())
}

/// The note button the settings name.
///
/// # Errors
/// When the settings name a key that is none, or one for both.
pub fn button(set: &settings::Button) -> Result<Option<button::Spec>> {
    let (note, mute) = (set.key.as_deref(), set.mute_key.as_deref());
    match (&set.input, &set.port) {
        (Some(input), _) => Ok(Some(button::Spec::keys(input.clone(), note, mute)?)),
        (None, Some(port)) => Ok(Some(button::Spec::lines(port.clone(), set.line, set.mute_line)?)),
        (None, None) => Ok(None),
    }
}

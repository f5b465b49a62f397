//! Takes objects from the network into a folder, without a sync, until a line comes on standard input. For measuring:
//! `cargo run --release -p serrata-dicom --example receive -- 11112 FOLDER`.

use serrata_dicom::{BoxFuture, Received, Refusal, ScpOptions, Sink, serve};
use std::path::PathBuf;
use std::sync::Arc;

struct Folder(PathBuf);

impl Sink for Folder {
    fn store(&self, received: Received) -> BoxFuture<'_, Result<(), Refusal>> {
        let path = self.0.join(format!("{}.dcm", received.instance_uid));
        Box::pin(async move {
            tokio::fs::write(path, received.file).await.map_err(|e| Refusal::OutOfResources(e.to_string()))
        })
    }
}

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut args = std::env::args().skip(1);
    let (Some(port), Some(folder)) = (args.next(), args.next()) else {
        return Err("give a port and a folder".into());
    };
    let listener = tokio::net::TcpListener::bind(("127.0.0.1", port.parse()?)).await?;
    let stop = async {
        let mut line = String::new();
        let mut input = tokio::io::BufReader::new(tokio::io::stdin());
        // The end of the input stops the service as well.
        let _ = tokio::io::AsyncBufReadExt::read_line(&mut input, &mut line).await;
    };
    serve(listener, ScpOptions::default(), Arc::new(Folder(folder.into())), stop).await;
    Ok(())
}

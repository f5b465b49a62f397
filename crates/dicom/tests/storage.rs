//! The storage service with real peers: dcmtk's `echoscu`, `storescu`, `dcmsend` and `getscu`, and a client of our own
//! where bytes matter.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // a test may fail by a panic

mod common;

use common::{frame8, object, published, tool, wide};
use dicom_ul::association::Association;
use dicom_ul::association::client::ClientAssociationOptions;
use dicom_ul::pdu::{PDataValue, PDataValueType, Pdu};
use serrata_dicom::{BoxFuture, DicomReader, Received, Refusal, ScpOptions, Sink, serve, write_photograph};
use serrata_frame::{Decode, Limits};
use serrata_words::{Eye, Modality};
use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

const OP8: &str = "1.2.840.10008.5.1.4.1.1.77.1.5.1";
const EXPLICIT: &str = "1.2.840.10008.1.2.1";

/// Keeps objects, or refuses them.
#[derive(Default)]
struct Shelf {
    kept: Mutex<Vec<Received>>,
    refusal: Mutex<Option<Refusal>>,
    delay: Duration,
}

impl Sink for Shelf {
    fn store(&self, received: Received) -> BoxFuture<'_, Result<(), Refusal>> {
        Box::pin(async move {
            tokio::time::sleep(self.delay).await;
            if let Some(refusal) = self.refusal.lock().unwrap().clone() {
                return Err(refusal);
            }
            self.kept.lock().unwrap().push(received);
            Ok(())
        })
    }
}

/// A running service.
struct Service {
    address: SocketAddr,
    shelf: Arc<Shelf>,
    stop: oneshot::Sender<()>,
    ended: tokio::task::JoinHandle<()>,
}

impl Service {
    async fn start(options: ScpOptions, shelf: Shelf) -> Self {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let shelf = Arc::new(shelf);
        let (stop, stopped) = oneshot::channel::<()>();
        let sink: Arc<dyn Sink> = shelf.clone();
        let ended = tokio::spawn(serve(listener, options, sink, async {
            let _ = stopped.await;
        }));
        Self { address, shelf, stop, ended }
    }

    /// Runs a tool of dcmtk against it; `PORT` in the arguments becomes the port.
    async fn peer(&self, name: &'static str, args: Vec<String>) -> std::process::Output {
        let port = self.address.port().to_string();
        tokio::task::spawn_blocking(move || {
            let args: Vec<String> = args.into_iter().map(|a| a.replace("PORT", &port)).collect();
            tool(name, &args.iter().map(String::as_str).collect::<Vec<_>>())
        })
        .await
        .unwrap()
    }

    fn kept(&self) -> Vec<Received> {
        self.shelf.kept.lock().unwrap().clone()
    }
}

fn args(words: &str, files: &[std::path::PathBuf]) -> Vec<String> {
    let words = words.split(' ').map(str::to_owned);
    words.chain(files.iter().map(|f| f.to_str().unwrap().to_owned())).collect()
}

/// One object of each class that we write, with its expected class.
fn own_files(dir: &std::path::Path) -> Vec<(std::path::PathBuf, Vec<u8>)> {
    let mut wide_object = object(Eye::L, Modality::Colour);
    wide_object.wide_field = Some(wide());
    let files = [
        write_photograph(&frame8(300, 200, 1, 1), &object(Eye::R, Modality::Fa)).unwrap(),
        write_photograph(&common::frame16(301, 211, 1, 2), &object(Eye::R, Modality::Faf)).unwrap(),
        write_photograph(&frame8(64, 64, 3, 3), &wide_object).unwrap(),
    ];
    files
        .into_iter()
        .enumerate()
        .map(|(i, bytes)| {
            let path = dir.join(format!("{i}.dcm"));
            std::fs::write(&path, &bytes).unwrap();
            (path, bytes)
        })
        .collect()
}

fn frames(file: &[u8]) -> Vec<serrata_frame::Frame> {
    DicomReader.decode(file, &Limits::default()).unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn echoscu_is_answered() {
    let service = Service::start(ScpOptions::default(), Shelf::default()).await;
    let out = service.peer("echoscu", args("-v 127.0.0.1 PORT", &[])).await;
    assert!(out.status.success(), "{out:?}");
}

#[tokio::test(flavor = "multi_thread")]
async fn storescu_and_dcmsend_deliver_every_class_that_we_write() {
    let dir = tempfile::tempdir().unwrap();
    let files = own_files(dir.path());
    let paths: Vec<_> = files.iter().map(|f| f.0.clone()).collect();
    for (name, words) in
        [("storescu", "-R -aet CAMERA -aec SERRATA 127.0.0.1 PORT"), ("dcmsend", "127.0.0.1 PORT")]
    {
        let service = Service::start(ScpOptions::default(), Shelf::default()).await;
        let out = service.peer(name, args(words, &paths)).await;
        assert!(out.status.success(), "{name}: {out:?}");
        let kept = service.kept();
        assert_eq!(kept.len(), files.len(), "{name}");
        for (got, (_, sent)) in kept.iter().zip(&files) {
            assert_eq!(frames(&got.file), frames(sent), "{name}");
            assert!(tool_reads(&got.file), "{name}: dcmtk does not take the file that we build");
        }
        if name == "storescu" {
            assert_eq!((kept[0].calling.as_str(), kept[0].called.as_str()), ("CAMERA", "SERRATA"));
        }
    }
}

/// Whether dcmtk reads a file without a word of complaint.
fn tool_reads(file: &[u8]) -> bool {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("kept.dcm");
    std::fs::write(&path, file).unwrap();
    let out = tool("dcmdump", &[path.to_str().unwrap()]);
    out.status.success() && out.stderr.is_empty()
}

/// Secondary captures in every compressed syntax arrive as they were: dcmtk sends encapsulated pixels untouched.
#[tokio::test(flavor = "multi_thread")]
async fn compressed_objects_arrive_as_they_were() {
    let Some(folder) = published() else { return };
    let names = [
        "SC_rgb_jpeg_dcmtk.dcm",
        "SC_rgb_jpeg_gdcm.dcm",
        "SC_rgb_rle_2frame.dcm",
        "SC_rgb_jls_lossy_line.dcm",
        "SC_rgb_gdcm_KY.dcm",
        "JPEGLSNearLossless_08.dcm",
        "SC_rgb_small_odd_big_endian.dcm",
    ];
    let service = Service::start(ScpOptions::default(), Shelf::default()).await;
    for name in names {
        let path = folder.join(name);
        let out = service
            .peer("dcmsend", args("--decompress-never 127.0.0.1 PORT", std::slice::from_ref(&path)))
            .await;
        assert!(out.status.success(), "{name}: {out:?}");
        let got = service.kept().pop().unwrap();
        let sent = frames(&std::fs::read(path).unwrap());
        let got = frames(&got.file);
        assert_eq!(got.len(), sent.len());
        assert!(got.iter().zip(&sent).all(|(a, b)| a.pixels == b.pixels), "{name}");
    }
    assert_eq!(service.kept().len(), names.len());
}

#[tokio::test(flavor = "multi_thread")]
async fn several_senders_at_a_time() {
    let dir = tempfile::tempdir().unwrap();
    let paths: Vec<_> = own_files(dir.path()).into_iter().map(|f| f.0).collect();
    let shelf = Shelf { delay: Duration::from_millis(20), ..Shelf::default() };
    let service = Service::start(ScpOptions { associations: 3, ..ScpOptions::default() }, shelf).await;
    let send = || service.peer("storescu", args("-R 127.0.0.1 PORT", &paths));
    let (a, b, c, d, e, f) = tokio::join!(send(), send(), send(), send(), send(), send());
    assert!([a, b, c, d, e, f].iter().all(|o| o.status.success()));
    assert_eq!(service.kept().len(), 18);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refusal_becomes_its_status() {
    let dir = tempfile::tempdir().unwrap();
    let file = own_files(dir.path()).remove(0).0;
    for (refusal, code) in [
        (Refusal::OutOfResources("the disk is full".into()), "0xa700"),
        (Refusal::DoesNotMatchClass("no rows".into()), "0xa900"),
        (Refusal::CannotUnderstand("what is this".into()), "0xc000"),
    ] {
        let service = Service::start(ScpOptions::default(), Shelf::default()).await;
        *service.shelf.refusal.lock().unwrap() = Some(refusal);
        let out = service.peer("storescu", args("-d -R 127.0.0.1 PORT", std::slice::from_ref(&file))).await;
        let said =
            format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
        assert!(said.to_lowercase().contains(code), "{code} is not in {said}");
        assert!(service.kept().is_empty());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn another_called_title_is_refused_where_asked() {
    let options = ScpOptions { check_called: true, ..ScpOptions::default() };
    let service = Service::start(options, Shelf::default()).await;
    let wrong = service.peer("echoscu", args("-aec OTHER 127.0.0.1 PORT", &[])).await;
    assert!(!wrong.status.success() && String::from_utf8_lossy(&wrong.stderr).contains("Called AE Title"));
    assert!(service.peer("echoscu", args("-aec SERRATA 127.0.0.1 PORT", &[])).await.status.success());
}

/// getscu proposes to be the receiver of every storage class: the association must stand, without that role.
#[tokio::test(flavor = "multi_thread")]
async fn a_proposal_of_roles_does_not_upset_the_service() {
    let service = Service::start(ScpOptions::default(), Shelf::default()).await;
    let out =
        service.peer("getscu", args("-d -S -k 0008,0052=STUDY -k 0020,000D=1.2 127.0.0.1 PORT", &[])).await;
    let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    assert!(said.contains("Association Accepted") || said.contains("A-ASSOCIATE-AC"), "{said}");
    assert!(service.peer("echoscu", args("127.0.0.1 PORT", &[])).await.status.success());
}

/// A client of our own that sends these bytes as the data set, in pieces of this size.
fn send(
    address: SocketAddr,
    roles: Option<(bool, bool)>,
    instance: &str,
    data: &[u8],
    piece: usize,
) -> (u16, dicom_ul::pdu::RequestorRoles) {
    let mut options = ClientAssociationOptions::new()
        .calling_ae_title("CAMERA")
        .called_ae_title("SERRATA")
        .with_presentation_context(OP8, vec![EXPLICIT]);
    if let Some((scu, scp)) = roles {
        options = options.with_role_selection(OP8, scu, scp);
    }
    let mut peer = options.establish(address).unwrap();
    let granted = peer.requestor_roles_for(OP8);
    let context = peer.presentation_contexts()[0].id;
    let text = |element: u16, text: &str| {
        let mut value = text.as_bytes().to_vec();
        value.resize(value.len().next_multiple_of(2), 0);
        [&[0, 0][..], &element.to_le_bytes(), &(value.len() as u32).to_le_bytes(), &value].concat()
    };
    let short = |element: u16, v: u16| {
        [&[0, 0][..], &element.to_le_bytes(), &2u32.to_le_bytes(), &v.to_le_bytes()].concat()
    };
    let body = [
        text(2, OP8),
        short(0x0100, 1),
        short(0x0110, 7),
        short(0x0700, 0),
        short(0x0800, 1),
        text(0x1000, instance),
    ]
    .concat();
    let length = [&[0, 0, 0, 0, 4, 0, 0, 0][..], &(body.len() as u32).to_le_bytes()].concat();
    let mut put = |value_type, is_last, data: Vec<u8>| {
        let part = PDataValue { presentation_context_id: context, value_type, is_last, data };
        peer.send(&Pdu::PData { data: vec![part] }).unwrap();
    };
    put(PDataValueType::Command, true, [length, body].concat());
    let pieces = data.chunks(piece).count();
    for (i, part) in data.chunks(piece).enumerate() {
        put(PDataValueType::Data, i + 1 == pieces, part.to_vec());
    }
    let Pdu::PData { data } = peer.receive().unwrap() else { panic!("no answer") };
    let answer = &data[0].data;
    let at = answer.windows(4).position(|w| w == [0, 0, 0, 9]).unwrap() + 8;
    let status = u16::from_le_bytes([answer[at], answer[at + 1]]);
    peer.release().unwrap();
    (status, granted)
}

/// Data set and instance of an object.
fn data_set(seed: u32) -> (String, Vec<u8>) {
    let object = object(Eye::R, Modality::Fa);
    let file = write_photograph(&frame8(50, 40, 1, seed), &object).unwrap();
    let at = file.windows(4).skip(132).position(|w| w == [8, 0, 5, 0]).unwrap() + 132;
    (object.instance_uid, file[at..].to_vec())
}

#[tokio::test(flavor = "multi_thread")]
async fn the_data_set_is_kept_byte_for_byte() {
    let service = Service::start(ScpOptions::default(), Shelf::default()).await;
    let address = service.address;
    for (roles, piece) in [(None, 1000), (Some((true, true)), 7), (Some((true, false)), 15_000)] {
        let (instance, data) = data_set(3);
        let sent = data.clone();
        let uid = instance.clone();
        let (status, granted) =
            tokio::task::spawn_blocking(move || send(address, roles, &uid, &sent, piece)).await.unwrap();
        assert_eq!(status, 0);
        assert!(granted.scu && !granted.scp, "the peer may send and must not receive: {granted:?}");
        let got = service.kept().pop().unwrap();
        assert!(got.file.ends_with(&data) && got.file.len() < data.len() + 600);
        assert_eq!((got.class_uid.as_str(), got.instance_uid), (OP8, instance));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_data_set_that_is_not_what_was_announced_is_refused() {
    let service = Service::start(ScpOptions::default(), Shelf::default()).await;
    let address = service.address;
    let (_, data) = data_set(3);
    let status = |instance: &'static str, data: Vec<u8>| async move {
        tokio::task::spawn_blocking(move || send(address, None, instance, &data, 900).0).await.unwrap()
    };
    assert_eq!(status("1.2.3", data).await, 0xA900);
    assert_eq!(status("../../etc", vec![0; 20]).await, 0xC000);
    assert_eq!(status("1.2.3", vec![0xEE; 3000]).await, 0xC000);
    assert!(service.kept().is_empty());
}

#[tokio::test(flavor = "multi_thread")]
async fn an_object_beyond_the_limit_is_refused_and_not_kept_in_memory() {
    let options = ScpOptions { object_bytes: 1000, ..ScpOptions::default() };
    let service = Service::start(options, Shelf::default()).await;
    let address = service.address;
    let (instance, data) = data_set(3);
    let status =
        tokio::task::spawn_blocking(move || send(address, None, &instance, &data, 500).0).await.unwrap();
    assert_eq!(status, 0xA700);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_silent_peer_is_dropped() {
    let options = ScpOptions { idle: Duration::from_millis(200), ..ScpOptions::default() };
    let service = Service::start(options, Shelf::default()).await;
    let mut silent = tokio::net::TcpStream::connect(service.address).await.unwrap();
    let began = Instant::now();
    let mut buffer = Vec::new();
    let read = tokio::io::AsyncReadExt::read_to_end(&mut silent, &mut buffer);
    tokio::time::timeout(Duration::from_secs(5), read).await.expect("still connected").unwrap();
    assert!(began.elapsed() >= Duration::from_millis(150));
}

/// An object under way is kept and answered, then the service ends; nobody else gets in.
#[tokio::test(flavor = "multi_thread")]
async fn stopping_lets_an_object_finish() {
    let shelf = Shelf { delay: Duration::from_millis(400), ..Shelf::default() };
    let service = Service::start(ScpOptions::default(), shelf).await;
    let address = service.address;
    let (instance, data) = data_set(3);
    let sender = tokio::task::spawn_blocking(move || send(address, None, &instance, &data, 20_000).0);
    let idle = tokio::net::TcpStream::connect(address).await.unwrap();
    tokio::time::sleep(Duration::from_millis(200)).await;
    service.stop.send(()).unwrap();
    assert_eq!(sender.await.unwrap(), 0);
    drop(idle);
    tokio::time::timeout(Duration::from_secs(5), service.ended).await.expect("did not end").unwrap();
    assert_eq!(service.shelf.kept.lock().unwrap().len(), 1);
    assert!(tokio::net::TcpStream::connect(address).await.is_err());
}

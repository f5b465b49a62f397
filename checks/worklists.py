"""Real worklist servers for the outside checks: dcmtk's `wlmscpfs` and pynetdicom. All people are invented."""

from __future__ import annotations

import contextlib
import pathlib
import subprocess
import time

from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.uid import ExplicitVRLittleEndian, generate_uid
from pynetdicom import AE, evt

from house import free_port, until

WORKLIST = "1.2.840.10008.5.1.4.31"  # Modality Worklist Information Model, FIND (DICOM PS3.4 annex K)


def entry(number: str, patient: str, name: str, born: str, protocol: str, day: str, time_: str = "0915", **more) -> Dataset:
    """A scheduled step."""
    step = Dataset()
    step.ScheduledStationAETitle = more.get("station", "DEMOWIDE")
    step.ScheduledProcedureStepStartDate = day.replace("-", "")
    step.ScheduledProcedureStepStartTime = time_
    step.Modality = "OP"
    step.ScheduledPerformingPhysicianName = ""
    step.ScheduledProcedureStepDescription = protocol
    step.ScheduledProcedureStepID = f"S{number}"
    step.ScheduledProcedureStepStatus = more.get("status", "SCHEDULED")
    code = Dataset()
    code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning = protocol, "99CLINIC", protocol
    step.ScheduledProtocolCodeSequence = [code]
    d = Dataset()
    d.SpecificCharacterSet = "ISO_IR 192"
    d.AccessionNumber = number
    d.PatientName, d.PatientID, d.PatientBirthDate, d.PatientSex = name, patient, born, "O"
    d.StudyInstanceUID = more.get("study", generate_uid())
    d.RequestedProcedureDescription = more.get("asked", "Ultra-widefield pictures")
    d.RequestedProcedureID = f"R{number}"
    d.ReferencedStudySequence = []
    d.ReferencedPatientSequence = []
    d.ScheduledProcedureStepSequence = [step]
    return d


@contextlib.contextmanager
def wlmscpfs(folder: pathlib.Path, entries: list[Dataset], title: str = "WORKLIST"):
    """dcmtk's worklist server on a folder of entries; gives its port."""
    place = folder / title
    place.mkdir(parents=True, exist_ok=True)
    (place / "lockfile").touch()
    for n, e in enumerate(entries):
        meta = FileMetaDataset()
        meta.MediaStorageSOPClassUID, meta.MediaStorageSOPInstanceUID = WORKLIST, generate_uid()
        meta.TransferSyntaxUID = ExplicitVRLittleEndian
        file = FileDataset(None, e, file_meta=meta, preamble=bytes(128))
        file.save_as(place / f"{n}.wl", enforce_file_format=True)
    port = free_port()
    process = subprocess.Popen(
        ["/usr/bin/wlmscpfs", "-dfp", str(folder), str(port)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        echo = ["/usr/bin/echoscu", "-aec", title, "127.0.0.1", str(port)]
        until("wlmscpfs answers", lambda: subprocess.run(echo, capture_output=True, check=False).returncode == 0, 20)
        yield port
    finally:
        process.kill()
        process.wait()


@contextlib.contextmanager
def pynetdicom_worklist(entries, pause: float = 0.0, before: float = 0.0, break_after: int | None = None, fail: int | None = None):
    """pynetdicom's worklist server, which can be slow, break off, or fail; gives its port."""

    def handle(event):
        time.sleep(before)
        if fail is not None:
            yield fail, None
            return
        for n, e in enumerate(entries):
            if event.is_cancelled:
                yield 0xFE00, None
                return
            if break_after is not None and n == break_after:
                event.assoc.abort()
                return
            time.sleep(pause)
            yield 0xFF00, e

    ae = AE(ae_title="WORKLIST")
    ae.add_supported_context(WORKLIST)
    server = ae.start_server(("127.0.0.1", 0), block=False, evt_handlers=[(evt.EVT_C_FIND, handle)])
    try:
        yield server.socket.getsockname()[1] if server.socket else server.server_address[1]
    finally:
        server.shutdown()

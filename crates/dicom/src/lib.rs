//! Serrata: DICOM objects in and out, and the storage service.

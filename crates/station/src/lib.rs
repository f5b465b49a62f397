//! Serrata: the HTTP API, live events and the intake services.

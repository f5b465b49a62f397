//! Serrata: orders, protocols, judging an observation for a view, and what is still due.

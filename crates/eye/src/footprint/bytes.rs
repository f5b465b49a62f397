use super::Footprint;

/// Why bytes are no footprint of 786 432 cells.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum FootprintBytesError {
    /// The first bytes are not those of a footprint of this grid.
    #[error("these bytes are no footprint of nside 256 in nested order; expected them to start with SFP1")]
    Start,
    /// The runs do not add up to the number of cells.
    #[error("the footprint covers {got} cells; expected 786432")]
    Length {
        /// Cells that the runs add up to, as far as they could be read.
        got: usize,
    },
}

const MAGIC: &[u8; 4] = b"SFP1";

impl Footprint {
    /// As bytes to be stored: `SFP1`, then runs of equal cells in nested order, each its share (one byte) and its
    /// length (seven bits a byte, lowest first, the top bit set where more follow). A frame takes some 10 to 30 kB.
    ///
    /// Example: the empty footprint takes 8 bytes.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut out = MAGIC.to_vec();
        for run in self.cells.chunk_by(|a, b| a == b) {
            out.push(run[0]);
            let mut n = run.len();
            while n > 127 {
                #[allow(clippy::cast_possible_truncation)] // seven bits
                out.push((n & 127) as u8 | 128);
                n >>= 7;
            }
            #[allow(clippy::cast_possible_truncation)] // below 128
            out.push(n as u8);
        }
        out
    }

    /// From stored bytes, as [`Self::to_bytes`] makes them.
    ///
    /// ```
    /// use serrata_eye::Footprint;
    /// let bytes = Footprint::empty().to_bytes();
    /// assert_eq!((bytes.len(), Footprint::from_bytes(&bytes)), (8, Ok(Footprint::empty())));
    /// assert!(Footprint::from_bytes(b"SFP2").is_err());
    /// ```
    ///
    /// # Errors
    /// Where they do not start as a footprint does, or do not fill the grid exactly.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, FootprintBytesError> {
        let mut rest = bytes.strip_prefix(MAGIC).ok_or(FootprintBytesError::Start)?.iter();
        let mut cells = Vec::with_capacity(Self::CELLS);
        while let Some(share) = rest.next() {
            let (mut n, mut shift) = (0usize, 0);
            loop {
                let got = cells.len();
                let byte = *rest.next().ok_or(FootprintBytesError::Length { got })?;
                n |= usize::from(byte & 127) << shift;
                shift += 7;
                if byte < 128 {
                    break;
                }
                if shift > 21 {
                    return Err(FootprintBytesError::Length { got });
                }
            }
            if n > Self::CELLS - cells.len() {
                return Err(FootprintBytesError::Length { got: cells.len().saturating_add(n) });
            }
            cells.resize(cells.len() + n, *share);
        }
        let got = cells.len();
        Self::from_cells(cells).ok_or(FootprintBytesError::Length { got })
    }
}

//! Light given to the eye, against published limits. It states its assumptions and is no bar to fill.

mod icnirp;
mod iso;
mod record;

pub use icnirp::{SourceLimit, c_a, c_b, gamma_mrad, laser_limit, t1_s, t2_s};
pub use iso::{GROUP1_A_UW_CM2, GROUP1_R_W_CM2, weight_a, weight_r};
pub use record::{ASSUMPTIONS, FrameLight, LightRecord, NoFigure, cap_area_cm2, frame_light, light_record};

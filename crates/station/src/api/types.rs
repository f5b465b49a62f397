//! The JSON of the page's API. Times are microseconds since 1970 UTC; `schema` names each contract.

use super::appraisal_schema::Appraisal;
use serde::{Deserialize, Serialize};
use serrata_words::AppraisalLine;
use utoipa::ToSchema;

/// All open visits at a glance.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Day {
    /// Always `serrata.day/1`.
    pub schema: &'static str,
    /// The station's clock.
    pub now_utc_us: i64,
    /// Open visits, the one to see first on top.
    pub visits: Vec<VisitBrief>,
    /// Frames that fit no visit.
    pub unassigned: u64,
    /// Frames that are still to be checked.
    pub waiting: u64,
    /// What is due at a time, over all visits, the soonest first.
    pub alarms: Vec<AlarmLine>,
}

/// Something due at a time.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct AlarmLine {
    /// The visit.
    pub visit_id: i64,
    /// Who, shortly: enough to tell apart in one room.
    pub who: String,
    /// The chair, where seated.
    pub chair: Option<String>,
    /// What is due.
    pub what: String,
    /// From when.
    pub from_utc_us: i64,
    /// Until when.
    pub to_utc_us: i64,
    /// Whether it is due now.
    pub now: bool,
    /// Whether it is worth a tone: a late frame, or a patient who comes back, that is due while attention is elsewhere.
    pub sounds: bool,
    /// Who and what, one sentence to be said aloud.
    pub sentence: String,
    /// Another visit that needs the same chair at the same time.
    pub clash: Option<String>,
}

/// A visit as a line of the day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct VisitBrief {
    /// Id.
    pub id: i64,
    /// The patient's name.
    pub patient_name: String,
    /// The patient's number.
    pub patient_id: String,
    /// Date of birth with the month in letters, for example "07 Mar 1961".
    pub birth_date: Option<String>,
    /// What was ordered.
    pub order: String,
    /// The chair.
    pub chair: Option<String>,
    /// When it was opened.
    pub opened_utc_us: i64,
    /// "open" or "closed".
    pub state: String,
    /// Views still due.
    pub views_due: usize,
    /// Views met, also with reservations.
    pub views_met: usize,
    /// Frames.
    pub frames: usize,
    /// Frames that are not usable.
    pub frames_not_usable: usize,
    /// What to do next, one sentence.
    pub next_step: Option<String>,
    /// "not_yet", "as_far_as_possible" or "complete".
    pub completeness: String,
    /// When it was scheduled, local time as the order says.
    pub scheduled: Option<String>,
    /// Whether the patient is unwell: nothing is due, nothing sounds.
    pub unwell: bool,
    /// Until when it waits, microseconds since 1970 UTC.
    pub paused_until_utc_us: Option<i64>,
    /// Calls for the clinician that nobody answered.
    pub calls_open: usize,
}

/// One visit.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Visit {
    /// Always `serrata.visit/1`.
    pub schema: &'static str,
    /// Id.
    pub id: i64,
    /// The patient's name.
    pub patient_name: String,
    /// The patient's number.
    pub patient_id: String,
    /// Date of birth with the month in letters.
    pub birth_date: Option<String>,
    /// What was ordered.
    pub order: String,
    /// The chair.
    pub chair: Option<String>,
    /// When it was opened.
    pub opened_utc_us: i64,
    /// "open" or "closed".
    pub state: String,
    /// What to do next, one sentence.
    pub next_step: Option<String>,
    /// Are the pictures complete?
    pub complete: CompleteAnswer,
    /// Views in order of rank.
    pub views: Vec<ViewLine>,
    /// Frames, newest first.
    pub frames: Vec<FrameBrief>,
    /// The pair of retinal charts: right eye, left eye.
    pub charts: Vec<Chart>,
    /// Questions to ask before; the answers are staff's.
    pub cautions: Vec<String>,
    /// What the day asks of this visit.
    pub today: Today,
}

/// What the day asks of a visit, beside its pictures.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Today {
    /// When it was scheduled, local time as the order says.
    pub scheduled: Option<String>,
    /// Its orders.
    pub orders: Vec<super::order_types::OrderLine>,
    /// Which two identifiers were compared, by whom; null: not yet.
    pub identity: Option<String>,
    /// Sentences that come before anything else: stops, queries, what nobody answered.
    pub first: Vec<String>,
    /// Of these, the answers that stop until somebody else decided.
    pub stops: Vec<String>,
    /// Sentences for the chair out of the state of eye and person.
    pub notes: Vec<String>,
    /// State of the right eye, as it was noted: an object with the keys that `eye_noted` takes.
    #[schema(value_type = Object)]
    pub right_eye: serrata_words::EyeState,
    /// The same of the left eye.
    #[schema(value_type = Object)]
    pub left_eye: serrata_words::EyeState,
    /// State of the person, as it was noted: an object with the keys that `person_noted` takes.
    #[schema(value_type = Object)]
    pub person: serrata_words::PersonState,
    /// Questions with their answers.
    pub answers: Vec<Answered>,
    /// Notes in words, oldest first.
    pub remarks: Vec<Remark>,
    /// The record of the needle: one sentence each, oldest first.
    pub needle: Vec<String>,
    /// What was noted after the needle, oldest first.
    pub after_needle: Vec<Remark>,
    /// Whether the patient is unwell: nothing is due, nothing sounds.
    pub unwell: bool,
    /// Calls for the clinician that nobody answered.
    pub calls_open: usize,
    /// Until when it waits, microseconds since 1970 UTC.
    pub paused_until_utc_us: Option<i64>,
    /// Light of each eye, with its assumptions, in words.
    pub light: Vec<String>,
    /// What happened, oldest first.
    pub facts: Vec<FactLine>,
}

/// A question with its answer.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Answered {
    /// Id of the question.
    pub id: String,
    /// The question.
    pub question: String,
    /// The answer, or null where nobody answered yet.
    pub answer: Option<String>,
    /// Who wrote it down.
    pub who: Option<String>,
    /// Number of the fact that holds the answer: what `undone` takes.
    pub fact: Option<u64>,
}

/// A note in words.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Remark {
    /// Number of its fact: what `undone` takes.
    pub fact: u64,
    /// The words.
    pub text: String,
    /// Who wrote it.
    pub who: String,
    /// When, by the station's clock.
    pub at_utc_us: i64,
}

/// A fact as a line.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FactLine {
    /// Its place in the order of facts.
    pub seq: u64,
    /// When, by the station's clock.
    pub at_utc_us: i64,
    /// Who.
    pub who: String,
    /// What, a short stable word.
    pub kind: String,
    /// Why.
    pub reason: Option<String>,
    /// The fact in words, without a full stop.
    pub text: String,
    /// When it happened, where that is not when it was kept: the needle's start and end. Microseconds since 1970 UTC.
    pub happened_utc_us: Option<i64>,
    /// Whether a person may undo it by a fact of kind `undone`.
    pub can_be_undone: bool,
    /// Whether it was undone: then it has no effect.
    pub undone: bool,
}

/// Are the pictures complete? Speaks of pictures only.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CompleteAnswer {
    /// "not_yet", "as_far_as_possible" or "complete".
    pub state: String,
    /// The answer as a sentence.
    pub sentence: String,
}

/// A view and how it stands.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ViewLine {
    /// Name, unique in the visit.
    pub name: String,
    /// "R" or "L".
    pub eye: Option<String>,
    /// Kind of picture.
    pub modality: String,
    /// Gaze.
    pub gaze: String,
    /// "must" or "should".
    pub rank: String,
    /// "due", "met", "met_with_reservations", "not_obtainable" or "not_done".
    pub state: String,
    /// Frames that stand for it, best first.
    pub frames: Vec<i64>,
    /// Why it is met only so far, one sentence each.
    pub why: Vec<String>,
    /// Tries spent.
    pub tries: usize,
    /// The frame that stood for it best at the last visit.
    pub last_frame: Option<i64>,
}

/// A frame as a line.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FrameBrief {
    /// Id.
    pub id: i64,
    /// The visit, or null where it fits none.
    pub visit_id: Option<i64>,
    /// The file's name.
    pub name: String,
    /// The eye it counts as.
    pub eye: Option<String>,
    /// The kind it counts as.
    pub modality: Option<String>,
    /// The gaze it counts as.
    pub gaze: String,
    /// When it was taken, by the instrument's clock.
    pub acquired_utc_us: Option<i64>,
    /// When it came.
    pub received_utc_us: i64,
    /// "waiting", "checked" or "failed".
    pub state: String,
    /// Quality, once checked.
    pub verdict: Option<String>,
    /// What to do next, once checked.
    pub next: Option<String>,
    /// The leading reason, one short sentence.
    pub leading: Option<String>,
    /// Why a person took it out of the hand-over.
    pub set_aside: Option<String>,
    /// What a person should look at before it is trusted.
    pub query: Option<String>,
    /// Whether it waits for a second person on its way to another patient.
    pub quarantined: bool,
}

/// A frame that fits no visit.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct UnassignedFrame {
    /// The frame.
    #[serde(flatten)]
    pub brief: FrameBrief,
    /// Why it waits.
    pub why: String,
    /// The patient's number in the file.
    pub patient_id: Option<String>,
    /// The patient's name in the file.
    pub patient_name: Option<String>,
    /// Date of birth in the file, with the month in letters.
    pub birth_date: Option<String>,
    /// Open visits that it might belong to, with the fields that differ; nothing is chosen.
    pub beside: Vec<Candidate>,
}

/// An open visit that a frame might belong to.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Candidate {
    /// The visit.
    pub visit_id: i64,
    /// Whether its study is that of the file.
    pub same_study: bool,
    /// Fields that differ: `here` in the file, `there` in the visit.
    pub differences: Vec<super::order_types::FieldPair>,
}

/// Frames that fit no visit.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Unassigned {
    /// Always `serrata.unassigned/1`.
    pub schema: &'static str,
    /// The frames, oldest first.
    pub frames: Vec<UnassignedFrame>,
}

/// One frame with all that was seen.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Frame {
    /// Always `serrata.frame/1`.
    pub schema: &'static str,
    /// The frame as a line.
    pub brief: FrameBrief,
    /// The patient's name, where it belongs to a visit.
    pub patient_name: Option<String>,
    /// Why it could not be checked.
    pub error: Option<Trouble>,
    /// The check, once there.
    #[schema(value_type = Option<Appraisal>)]
    pub appraisal: Option<AppraisalLine>,
    /// Address of the picture.
    pub picture: String,
    /// Where its pixels lie on the sphere; null where nobody knows the projection, and until it was checked.
    pub geometry: Option<FrameGeometry>,
    /// What a person corrected.
    pub corrections: Corrections,
    /// The order that it is for, where a person said so.
    pub order: Option<String>,
}

/// Where the pixels of a picture lie on the sphere. The projection is centred on the picture's middle; x is to the right, y down,
/// edges at integers; the view frame has +z at the middle, +x right and +y up.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct FrameGeometry {
    /// "stereographic", "equidistant", "equal_area", "orthographic", "gnomonic" or "radial".
    pub projection: &'static str,
    /// Width and height in pixels.
    pub size: [u32; 2],
    /// View angle of the centre pixel along x and y, degrees of eye angle.
    pub degrees_per_pixel: [f64; 2],
    /// Radii of the sphere by powers of the angle in radians, from the first: of a radial projection only, else empty.
    pub coefficients: Vec<f64>,
    /// Angle from the middle up to which it holds, degrees of eye angle.
    pub end_deg: f64,
}

/// What went wrong and what to do.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Trouble {
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// Labels that a person corrected; null where not.
#[derive(Debug, Clone, Default, Serialize, ToSchema)]
pub struct Corrections {
    /// "R" or "L".
    pub eye: Option<String>,
    /// Kind of picture.
    pub modality: Option<String>,
    /// Gaze.
    pub gaze: Option<String>,
}

/// Body of `correct`: all corrections of a frame at once; null takes one back.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Correct {
    /// Who; without accounts the page's person, where none is named.
    #[serde(default)]
    pub who: Option<String>,
    /// Why; not empty.
    pub reason: String,
    /// "R" or "L".
    #[serde(default)]
    pub eye: Option<String>,
    /// Kind of picture.
    #[serde(default)]
    pub modality: Option<String>,
    /// Gaze.
    #[serde(default)]
    pub gaze: Option<String>,
}

/// Body of `order`: which order of its visit a frame is for.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ForOrder {
    /// Who.
    #[serde(default)]
    pub who: Option<String>,
    /// Why; not empty.
    pub reason: String,
    /// The order's number; null: none.
    pub order: Option<String>,
}

/// Body of `bring-back`; may be left out.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BringBack {
    /// Who.
    #[serde(default)]
    pub who: Option<String>,
    /// Why.
    #[serde(default)]
    pub reason: Option<String>,
}

/// A retinal chart: fovea in the middle, eccentricity and meridian in degrees of eye angle.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Chart {
    /// "R" or "L".
    pub eye: String,
    /// Rings of landmarks.
    pub rings: Vec<ChartRing>,
    /// Footprints of frames.
    pub frames: Vec<ChartFrame>,
    /// Footprints of the last visit's frames that could be used: the best of each kind and gaze.
    pub last: Vec<ChartFrame>,
    /// Outlines of what is still due.
    pub due: Vec<ChartDue>,
    /// Where to look next; null where another gaze wins too little, or nothing is asked of this eye.
    pub look: Option<ChartLook>,
}

/// A proposed gaze, as one mark on the chart and one sentence.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChartLook {
    /// How far the gaze is turned, degrees of eye angle: the mark's eccentricity.
    pub turn_deg: f64,
    /// Towards which meridian of the retina: the mark's meridian.
    pub meridian_deg: f64,
    /// What it adds, as a share of the retina that is wanted.
    pub share: f64,
    /// What it adds, in steradians.
    pub area_sr: f64,
    /// Clock hours at which most of it lies.
    pub clock_hours: Vec<u8>,
    /// The proposal as a sentence.
    pub sentence: String,
}

/// A ring of the chart.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChartRing {
    /// "arcades", "equator" or "ora".
    pub name: String,
    /// Eccentricity in degrees, the mean over all meridians.
    pub degrees: f64,
    /// Its outline: eccentricity and meridian in degrees, every 5°.
    pub outline: Vec<[f64; 2]>,
}

/// A frame's footprint on the chart.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChartFrame {
    /// The frame.
    pub frame_id: i64,
    /// Its kind.
    pub modality: String,
    /// Its quality.
    pub verdict: String,
    /// Whether the instrument's projection is known; otherwise the outline is a sketch.
    pub calibrated: bool,
    /// Rings of [eccentricity, meridian] in degrees; meridian counter-clockwise from 3 o'clock as seen.
    pub outlines: Vec<Vec<[f64; 2]>>,
}

/// What is still due, as an outline.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ChartDue {
    /// Name of the view.
    pub view: String,
    /// The view as people say it.
    pub label: String,
    /// Rings of [eccentricity, meridian] in degrees.
    pub outlines: Vec<Vec<[f64; 2]>>,
}

/// Body of `assign`.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Assign {
    /// Who.
    #[serde(default)]
    pub who: Option<String>,
    /// The visit.
    pub visit_id: i64,
}

/// Body of `set-aside`.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetAside {
    /// Who.
    #[serde(default)]
    pub who: Option<String>,
    /// Why; not empty.
    pub reason: String,
}

/// Body of `close`.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CloseView {
    /// Who.
    #[serde(default)]
    pub who: Option<String>,
    /// "not_obtainable" or "not_done".
    pub state: String,
    /// Why; not empty.
    pub reason: String,
}

/// A visit that is typed in.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewVisit {
    /// The patient's number.
    pub patient_id: String,
    /// The patient's name.
    pub patient_name: String,
    /// Date of birth as YYYY-MM-DD.
    #[serde(default)]
    pub birth_date: Option<String>,
    /// Name of a protocol.
    pub protocol: String,
    /// Chair.
    #[serde(default)]
    pub chair: Option<String>,
    /// Study UID, where the worklist gave one.
    #[serde(default)]
    pub study_uid: Option<String>,
}

/// Answer to what was done.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Done {
    /// The frames or the visit that it touched.
    pub ids: Vec<i64>,
}

/// Answer to pictures that came in.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Received {
    /// The frames.
    pub frames: Vec<i64>,
    /// Whether the same bytes were here before.
    pub duplicate: bool,
}

/// An error of the API.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Error {
    /// Always `serrata.error/1`.
    pub schema: String,
    /// What was asked for.
    pub path: String,
    /// A short stable word.
    pub code: String,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// The server is there.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Health {
    /// Always `serrata.health/1`.
    pub schema: &'static str,
    /// Version of the program.
    pub version: &'static str,
    /// Frames that are still to be checked.
    pub waiting: u64,
}

/// One live event.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Event {
    /// Monotone id; a browser resumes after it.
    pub id: i64,
    /// "frame", "visit" or "intake".
    pub kind: String,
    /// The visit, where one is touched.
    pub visit_id: Option<i64>,
    /// The frame, where one is touched.
    pub frame_id: Option<i64>,
}

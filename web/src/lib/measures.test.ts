import { expect, test } from "vitest";
import type { Appraisal } from "../api/model";
import { measures } from "./measures";

const appraisal: Appraisal = {
  schema: "serrata.appraisal/1", path: "a.jpg", frame: 0, sha256: "", width: 3600, height: 3600, modality: "colour", instrument: null,
  method: { name: "observe", revision: 7 }, view: { name: "default colour", gaze: "primary" },
  eye: { labelled: null, inferred: "R", probability: 0.998, agrees: null }, verdict: "usable", next: "keep", reasons: [], advice: [],
  visible_retina: {
    fraction: 0.84, fraction_of_picture: 0.6, polygons: [], holes: [], area_mm2: null, area_interval_mm2: null, radius_mm: null,
    radius_source: null, uncalibrated: "no projection known", warnings: null,
  },
  findings: [], disc: null, fovea: null, gaze: null, reach: null, sharpness: { value: 0.71, unit: "of 1" },
};
const line = (a: Appraisal, name: string): string | undefined => new Map(measures(a)).get(name);

test("without a projection there is no area, and the reason is said", () => {
  expect(line(appraisal, "Area")).toBe("not given: no projection known");
});

test("an area is told with its interval first", () => {
  const seen = { ...appraisal.visible_retina, area_mm2: 812.3456, area_interval_mm2: [781.2, 844.9] as [number, number], radius_mm: 12.25, radius_source: "population" };
  expect(line({ ...appraisal, visible_retina: seen }, "Area")).toBe("781.2 to 844.9 mm² (95 %); on the sphere 812.3 mm², on R = 12.25 mm (population)");
  expect(line({ ...appraisal, visible_retina: { ...seen, radius_mm: null } }, "Area")).toBe("not given: without interval or radius");
});

test("the eye's side is not sure where the anatomy does not tell, and a wrong label is named", () => {
  expect(line({ ...appraisal, eye: { labelled: "L", inferred: null, probability: 0.6, agrees: null } }, "Eye by anatomy")).toBe("not sure");
  expect(line({ ...appraisal, eye: { labelled: "L", inferred: "R", probability: 0.99, agrees: false } }, "Eye by anatomy")).toBe(
    "Right eye (OD), 99\u00a0% sure; the label says otherwise",
  );
});

test("a gaze is told in words and degrees, or not at all", () => {
  expect(line(appraisal, "Gaze by anatomy")).toBeUndefined();
  const up: Appraisal = { ...appraisal, gaze: { seen: "up", right_deg: -3.2, up_deg: 24.4, from: "fovea" } };
  expect(line(up, "Gaze by anatomy")).toBe("looking up (24° up, 3° to the patient's left, by the fovea)");
  expect(line({ ...up, gaze: { seen: null, right_deg: 10, up_deg: -1, from: "disc" } }, "Gaze by anatomy")).toBe(
    "between straight ahead and turned (1° down, 10° to the patient's right, by the disc)",
  );
});

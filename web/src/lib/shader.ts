/** The programs of the graphics card: every place of the screen → the sphere → a pixel of the picture, and its tones. */

/** Ways to draw and projections as the program numbers them. */
export const LENSES = ["taken", "stereographic", "equal_area", "equidistant"] as const;
export const PROJECTIONS = ["stereographic", "equidistant", "equal_area", "orthographic", "gnomonic", "radial"] as const;

/** How many coefficients of a radial projection the program takes. */
export const MOST_COEFFICIENTS = 8;

/** One triangle that covers the screen; `at` runs from its upper left corner, in shares. */
export const VERTEX = `#version 300 es
out vec2 at;
void main() {
  vec2 corner = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  at = vec2(0.5 + 0.5 * corner.x, 0.5 - 0.5 * corner.y);
  gl_Position = vec4(corner, 0.0, 1.0);
}`;

/** At most two reads of a picture: its own, and the earlier one's where that is seen. */
export const FRAGMENT = `#version 300 es
precision highp float;
in vec2 at;
out vec4 colour;
uniform sampler2D picture;
uniform sampler2D earlier;
uniform vec2 screen;
uniform vec2 size;
uniform int lens;
uniform vec2 middle;
uniform float scale;
uniform mat3 back;
uniform int projection;
uniform vec2 radians_per_pixel;
uniform float end;
uniform float k[${String(MOST_COEFFICIENTS)}];
uniform vec3 channel;
uniform vec2 levels;
uniform bool inverted;
uniform float edge;
const float PI = 3.14159265358979;

// Angle from the middle for a distance from it; below zero where nothing is drawn.
float angle_of(float r) {
  if (lens == 1) return 2.0 * atan(0.5 * r);
  if (lens == 2) return r <= 2.0 ? 2.0 * asin(0.5 * r) : -1.0;
  return r <= PI ? r : -1.0;
}

// Distance from the middle for an angle; below zero where the picture shows nothing.
float radius_of(float c) {
  if (c > end) return -1.0;
  if (projection == 0) return 2.0 * tan(0.5 * c);
  if (projection == 1) return c;
  if (projection == 2) return 2.0 * sin(0.5 * c);
  if (projection == 3) return c <= 0.5 * PI ? sin(c) : -1.0;
  if (projection == 4) return c < 0.5 * PI ? tan(c) : -1.0;
  float sum = 0.0;
  for (int i = ${String(MOST_COEFFICIENTS - 1)}; i >= 0; i -= 1) sum = (sum + k[i]) * c;
  return sum;
}

vec2 pixel(vec2 from_middle) {
  if (lens == 0) return middle + from_middle * scale;
  vec2 p = vec2(from_middle.x, -from_middle.y) * scale;
  float r = length(p);
  float c = angle_of(r);
  if (c < 0.0) return vec2(-1.0);
  vec3 seen = vec3(r > 0.0 ? p * (sin(c) / r) : vec2(0.0), cos(c));
  vec3 d = back * seen;
  float s = length(d.xy);
  float far = radius_of(atan(s, d.z));
  if (far < 0.0) return vec2(-1.0);
  vec2 on = s > 0.0 ? d.xy * (far / s) : vec2(0.0);
  return 0.5 * size + vec2(on.x, -on.y) / radians_per_pixel;
}

void main() {
  vec2 share = pixel((at - 0.5) * screen) / size;
  vec4 own = texture(picture, share);
  if (at.x > edge) own = texture(earlier, share);
  bool outside = any(lessThan(share, vec2(0.0))) || any(greaterThan(share, vec2(1.0)));
  vec3 light = channel == vec3(0.0) ? own.rgb : vec3(dot(own.rgb, channel));
  light = clamp((light - levels.x) * levels.y, 0.0, 1.0);
  if (inverted) light = 1.0 - light;
  colour = vec4(outside ? vec3(0.0) : light * own.a, 1.0);
}`;

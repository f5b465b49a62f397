/** A picture drawn by the graphics card (WebGL 2). */
import { scaleOf, type Seen, type Sheet } from "./seen";
import { FRAGMENT, LENSES, MOST_COEFFICIENTS, PROJECTIONS, VERTEX } from "./shader";
import { turnTo } from "./sphere";
import { levelsOf, weightsOf, type Tones } from "./tones";

export interface Drawing {
  seen: Seen;
  sheet: Sheet;
  tones: Tones;
  /** Share of the screen's width from which on the earlier picture is seen; 1 where it is not. */
  edge: number;
}

const DEG = Math.PI / 180;

export class Glass {
  readonly #gl: WebGL2RenderingContext;
  readonly #program: WebGLProgram;
  readonly #places = new Map<string, WebGLUniformLocation | null>();
  readonly #pictures: [WebGLTexture, WebGLTexture];

  private constructor(gl: WebGL2RenderingContext, program: WebGLProgram) {
    this.#gl = gl;
    this.#program = program;
    this.#pictures = [gl.createTexture(), gl.createTexture()];
    for (const picture of this.#pictures) {
      gl.bindTexture(gl.TEXTURE_2D, picture);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, 1, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, new Uint8Array([0, 0, 0, 255]));
    }
  }

  /** Null where the browser has no WebGL 2, or its programs are refused. */
  static on(canvas: HTMLCanvasElement): Glass | null {
    // Kept, so that what is on the screen is also on paper.
    const gl = canvas.getContext("webgl2", { alpha: false, antialias: false, depth: false, preserveDrawingBuffer: true });
    if (gl === null) return null;
    const program = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]] as const) {
      const shader = gl.createShader(kind);
      if (shader === null) return null;
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(program, shader);
    }
    gl.linkProgram(program);
    return gl.getProgramParameter(program, gl.LINK_STATUS) === true ? new Glass(gl, program) : null;
  }

  /** The longest side of a picture that can be drawn. */
  get longest(): number {
    return this.#gl.getParameter(this.#gl.MAX_TEXTURE_SIZE) as number;
  }

  /** Takes a picture: the frame's own (0) or the earlier one (1). */
  take(which: 0 | 1, picture: ImageBitmap): void {
    const gl = this.#gl;
    gl.bindTexture(gl.TEXTURE_2D, this.#pictures[which]);
    gl.pixelStorei(gl.UNPACK_COLORSPACE_CONVERSION_WEBGL, gl.NONE);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, gl.RGBA, gl.UNSIGNED_BYTE, picture);
    gl.generateMipmap(gl.TEXTURE_2D);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR_MIPMAP_LINEAR);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.LINEAR);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
  }

  draw({ seen, sheet, tones, edge }: Drawing): void {
    const gl = this.#gl;
    const at = (name: string): WebGLUniformLocation | null => {
      if (!this.#places.has(name)) this.#places.set(name, gl.getUniformLocation(this.#program, name));
      return this.#places.get(name) ?? null;
    };
    const { geometry } = sheet;
    gl.viewport(0, 0, gl.drawingBufferWidth, gl.drawingBufferHeight);
    gl.useProgram(this.#program);
    this.#pictures.forEach((picture, i) => {
      gl.activeTexture(gl.TEXTURE0 + i);
      gl.bindTexture(gl.TEXTURE_2D, picture);
    });
    gl.activeTexture(gl.TEXTURE0);
    gl.uniform1i(at("picture"), 0);
    gl.uniform1i(at("earlier"), 1);
    gl.uniform2f(at("screen"), sheet.screen[0], sheet.screen[1]);
    gl.uniform2f(at("size"), sheet.size[0], sheet.size[1]);
    gl.uniform1f(at("scale"), scaleOf(seen, sheet));
    gl.uniform2f(at("middle"), seen.middle[0], seen.middle[1]);
    gl.uniform1i(at("lens"), geometry === null || seen.lens === null ? 0 : LENSES.indexOf(seen.lens));
    if (geometry !== null && seen.lens !== null) {
      // The rows of the turn to the point are the columns of the turn back.
      gl.uniformMatrix3fv(at("back"), false, turnTo({ ...seen, lens: seen.lens }).flat());
      gl.uniform1i(at("projection"), PROJECTIONS.indexOf(geometry.projection));
      gl.uniform2f(at("radians_per_pixel"), geometry.degrees_per_pixel[0] * DEG, geometry.degrees_per_pixel[1] * DEG);
      gl.uniform1f(at("end"), geometry.end_deg * DEG);
      gl.uniform1fv(at("k[0]"), Array.from({ length: MOST_COEFFICIENTS }, (_, i) => geometry.coefficients[i] ?? 0));
    }
    gl.uniform3fv(at("channel"), weightsOf(tones));
    gl.uniform2fv(at("levels"), levelsOf(tones));
    gl.uniform1i(at("inverted"), tones.inverted ? 1 : 0);
    gl.uniform1f(at("edge"), edge);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }
}

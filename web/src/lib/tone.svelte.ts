/** A quiet tone for what is due while nobody looks at the screen: off until somebody turns it on in this browser. */

const KEY = "serrata.tone";

function stored(key: string): string | null {
  try {
    return localStorage.getItem(key);
  } catch {
    return null; // a browser that keeps nothing
  }
}

function keep(key: string, value: string): void {
  try {
    localStorage.setItem(key, value);
  } catch {
    // It lasts as long as this page.
  }
}

class Tone {
  on = $state(stored(KEY) === "on");
  private context: AudioContext | null = null;
  private readonly sounded = new Set<string>();

  /** Turns it on or off; a browser lets a page sound only after a touch, which this is. */
  set(on: boolean): void {
    this.on = on;
    keep(KEY, on ? "on" : "off");
    if (on) this.ring();
  }

  /** Sounds once for each name. Answers whether it did. */
  once(name: string): boolean {
    if (this.sounded.has(name)) return false;
    this.sounded.add(name);
    if (!this.on) return false;
    this.ring();
    return true;
  }

  /** Two soft notes of a fifth of a second. */
  private ring(): void {
    try {
      this.context ??= new AudioContext();
      const context = this.context;
      [523.25, 659.25].forEach((hertz, i) => {
        const [from, voice, volume] = [context.currentTime + 0.25 * i, context.createOscillator(), context.createGain()];
        voice.frequency.value = hertz;
        volume.gain.setValueAtTime(0, from);
        volume.gain.linearRampToValueAtTime(0.12, from + 0.03);
        volume.gain.linearRampToValueAtTime(0, from + 0.2);
        voice.connect(volume).connect(context.destination);
        voice.start(from);
        voice.stop(from + 0.22);
      });
    } catch {
      // No sound here; the sentence on the screen says the same.
    }
  }
}

export const tone = new Tone();

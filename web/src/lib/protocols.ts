/** The protocols that ship with Serrata, read from their files when the page is built. */

export interface ProtocolName {
  name: string;
  title: string;
}

/** Reads name and title from the head of a protocol's TOML; null where it lacks one. */
export function protocolName(toml: string): ProtocolName | null {
  const head = toml.split(/^\[/m)[0] ?? "";
  const value = (key: string): string | undefined => new RegExp(`^${key}\\s*=\\s*"([^"]+)"`, "m").exec(head)?.[1];
  const [name, title] = [value("name"), value("title")];
  return name === undefined || title === undefined ? null : { name, title };
}

const files = import.meta.glob<string>("../../../protocols/*.toml", { query: "?raw", import: "default", eager: true });

/** Sorted by title. */
export const PROTOCOLS: readonly ProtocolName[] = Object.values(files)
  .map(protocolName)
  .filter((one) => one !== null)
  .sort((a, b) => a.title.localeCompare(b.title, "en"));

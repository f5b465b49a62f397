/** The page's addresses. */

export type Route =
  | { screen: "day" }
  | { screen: "visit"; id: number }
  | { screen: "dye"; id: number }
  | { screen: "montage"; id: number; eye: "R" | "L" }
  | { screen: "frame"; id: number }
  | { screen: "unassigned" }
  | { screen: "send" }
  | { screen: "unknown"; path: string };

/** Reads a path. Example: `"/visits/7"` is visit 7. */
export function parseRoute(path: string): Route {
  const parts = path.split("/").filter((part) => part !== "");
  const [head, tail] = parts;
  if (head === undefined) return { screen: "day" };
  if (head === "unassigned" && tail === undefined) return { screen: "unassigned" };
  if (head === "send" && tail === undefined) return { screen: "send" };
  if (tail !== undefined && parts.length === 2) {
    const id = /^\d{1,15}$/.test(tail) ? Number(tail) : null;
    if (id !== null && head === "visits") return { screen: "visit", id };
    if (id !== null && head === "frames") return { screen: "frame", id };
  }
  const [, visit = "", part] = parts;
  if (parts.length === 3 && head === "visits" && part === "dye" && /^\d{1,15}$/.test(visit)) return { screen: "dye", id: Number(visit) };
  const eye = parts[3];
  if (parts.length === 4 && head === "visits" && part === "montage" && /^\d{1,15}$/.test(visit) && (eye === "R" || eye === "L")) {
    return { screen: "montage", id: Number(visit), eye };
  }
  return { screen: "unknown", path };
}

/** Writes a path; the reverse of {@link parseRoute}. */
export function routePath(route: Route): string {
  switch (route.screen) {
    case "day":
      return "/";
    case "unassigned":
      return "/unassigned";
    case "send":
      return "/send";
    case "visit":
      return `/visits/${String(route.id)}`;
    case "dye":
      return `/visits/${String(route.id)}/dye`;
    case "montage":
      return `/visits/${String(route.id)}/montage/${route.eye}`;
    case "frame":
      return `/frames/${String(route.id)}`;
    case "unknown":
      return route.path;
  }
}

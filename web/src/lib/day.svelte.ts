/** The day's board, loaded once for the whole page: the head counts on it, and two screens show it. */
import { api } from "../api/client";
import { Loaded } from "./live.svelte";

export const day = new Loaded(api.day, () => true);

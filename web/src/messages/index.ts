/** The words of the screens in the page's language. */
import { en, type Messages } from "./en";
import { pseudo } from "./pseudo";

/** English is the only language so far; another is a file beside it that fills the type `Messages`, chosen here. */
export const t: Messages = import.meta.env.MODE === "pseudo" ? { ...pseudo(en), language: en.language } : en;

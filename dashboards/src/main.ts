import { registerSheet } from "./sheet";
import { registerChart } from "./chart";
import { registerLive } from "./live";
import { registerEditor } from "./editor";
import { keepAges, stampOnPrint } from "./clock";
import { sendLinks } from "./send";

registerSheet();
registerChart();
registerLive();
registerEditor();
keepAges(document);
stampOnPrint();
sendLinks();
// Of a row of pages that is wider than the screen, the one shown is in sight.
document.querySelector("nav.under [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });

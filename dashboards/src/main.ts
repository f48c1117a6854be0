import { registerSheet } from "./sheet";
import { registerMargin } from "./margin";
import { registerChart } from "./chart";
import { registerLive } from "./live";
import { registerEditor } from "./editor";
import { keepAges, stampOnPrint } from "./clock";

registerSheet();
registerMargin();
registerChart();
registerLive();
registerEditor();
keepAges(document);
stampOnPrint();

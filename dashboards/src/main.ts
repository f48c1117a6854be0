import { registerSheet } from "./sheet";
import { registerMargin } from "./margin";
import { registerLive } from "./live";
import { registerEditor } from "./editor";
import { keepAges, stampOnPrint } from "./clock";

registerSheet();
registerMargin();
registerLive();
registerEditor();
keepAges(document);
stampOnPrint();

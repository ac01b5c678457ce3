// A scanned code stands behind the # of the address; it is typed into the form and taken out of the
// address, so that it stays in no history.

const code = document.getElementById("code");
const name = document.getElementById("name");
const KINDS = [[/iPad|Tablet|Android(?!.*Mobile)/, "Tablet"], [/iPhone|Mobile/, "Phone"], [/./, "Computer"]];

function takeScanned() {
  const scanned = decodeURIComponent(location.hash.slice(1));
  if (!scanned) return;
  code.value = scanned.slice(0, 40);
  history.replaceState(null, "", location.pathname);
}

takeScanned();
addEventListener("hashchange", takeScanned);
if (!name.value) name.value = KINDS.find(([pattern]) => pattern.test(navigator.userAgent))[1];
(code.value ? name : code).focus();

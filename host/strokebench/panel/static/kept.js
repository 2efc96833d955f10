// What was typed survives a reload: the tab keeps it until it is closed.

const KEPT = ["f-customer", "f-serial", "f-note", "f-port"];
let restored = false;

export function keep(element) {
  if (KEPT.includes(element.id)) sessionStorage.setItem(element.id, element.value);
}

export function restore() {
  if (restored || !document.getElementById(KEPT[0])) return;
  restored = true;
  for (const id of KEPT) {
    const text = sessionStorage.getItem(id);
    const element = document.getElementById(id);
    if (text && element && !element.value) element.value = text;
  }
}

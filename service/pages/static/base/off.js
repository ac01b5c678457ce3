// Controls that are off while they work.

const dropped = new WeakSet(); // had the focus when they went off

/** Switches a control off or on. On again it has the focus that it dropped, if nothing took it. */
export function setOff(control, isOff) {
  if (isOff && !control.disabled && document.activeElement === control) dropped.add(control);
  control.disabled = isOff;
  if (isOff || !dropped.delete(control)) return;
  if ([control, document.body].includes(document.activeElement)) control.focus({ preventScroll: true });
}

// The lens's height by sliding and stepping; it can be typed too, and is unknown until it was set.

const field = document.getElementById("camera-height");
const slide = document.getElementById("height-slide");

/** Has slider, steps and field say the same; `changed()` is called after a change by hand. */
export function stepHeight(changed) {
  const show = () => {
    slide.value = field.value || slide.defaultValue;
  };
  const set = (value) => {
    field.value = String(value);
    show();
    changed();
  };
  slide.addEventListener("input", () => set(slide.value));
  field.addEventListener("input", show);
  for (const button of document.querySelectorAll("[data-by]")) {
    button.addEventListener("click", () => {
      const now = Number(field.value || slide.value) + Number(button.dataset.by);
      set(Math.max(Number(slide.step), Math.round(now * 100) / 100));
    });
  }
  show();
}

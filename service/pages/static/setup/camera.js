// This device's own camera: chosen, started, and a still taken of what it sees.

const QUALITY = 0.95;
const WANTED = { width: { ideal: 1920 }, height: { ideal: 1080 } };
const REFUSED = {
  NotAllowedError: ["The browser may not use the camera", "Allow it beside the address, and start again."],
  NotFoundError: ["This device has no camera", "Choose another source."],
  NotReadableError: ["The camera is in use", "Close the other program that uses it, and start again."],
  OverconstrainedError: ["That camera is gone", "Choose another one, and start again."],
};

export class DeviceCamera {
  #stream = null;
  #video;

  constructor(video) {
    this.#video = video;
  }

  /** Whether there is a live picture. */
  get isOn() {
    return this.#stream !== null && this.#stream.getVideoTracks()[0]?.readyState === "live";
  }

  /** The cameras of this device; their names are told once one was allowed. */
  static async all() {
    const devices = (await navigator.mediaDevices?.enumerateDevices()) ?? [];
    return devices.filter((device) => device.kind === "videoinput");
  }

  /** Starts one, the back one by default: {ok} or {headline, to_do}. */
  async start(deviceId, onEnd = () => {}) {
    this.stop();
    if (!navigator.mediaDevices) {
      return {
        ok: false,
        headline: "The browser gives no camera to this address",
        to_do: "It does so on the machine itself or over a secure address (https).",
      };
    }
    const which = deviceId ? { deviceId: { exact: deviceId } } : { facingMode: "environment" };
    try {
      const video = { ...WANTED, ...which };
      this.#stream = await navigator.mediaDevices.getUserMedia({ video, audio: false });
    } catch (fault) {
      const [headline, to_do] = REFUSED[fault.name] ?? ["The camera does not start", fault.message];
      return { ok: false, headline, to_do };
    }
    this.#stream.getVideoTracks()[0].addEventListener("ended", onEnd);
    this.#video.srcObject = this.#stream;
    await this.#video.play();
    return { ok: true };
  }

  stop() {
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#stream = null;
    this.#video.srcObject = null;
  }

  /** What it sees now, as a JPEG at its full size. */
  async still() {
    const canvas = document.createElement("canvas");
    canvas.width = this.#video.videoWidth;
    canvas.height = this.#video.videoHeight;
    canvas.getContext("2d").drawImage(this.#video, 0, 0);
    return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  }
}

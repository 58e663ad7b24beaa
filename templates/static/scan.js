// Reads the code of a label with the camera, where the browser can: no picture leaves the device or is kept.
"use strict";

// Gives what the code says to `found`, which says whether that is enough.
function offerScan(form, found) {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices?.getUserMedia) return;
  const button = document.createElement("button");
  Object.assign(button, { type: "button", className: "also", textContent: "Read it with the camera" });
  form.append(button);
  button.addEventListener("click", async () => {
    const says = document.createElement("p");
    says.setAttribute("role", "status");
    const video = document.createElement("video");
    Object.assign(video, { muted: true, playsInline: true, className: "scan" });
    form.after(video, says);
    button.disabled = true;
    let camera = null;
    try {
      camera = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      video.srcObject = camera;
      await video.play();
      says.textContent = "Hold the code of the label before the camera.";
      const detector = new BarcodeDetector({ formats: ["qr_code"] });
      const until = Date.now() + 60000;
      while (Date.now() < until && video.isConnected) {
        const codes = await detector.detect(video).catch(() => []);
        if (codes.some((code) => found(code.rawValue))) break;
        await new Promise((done) => setTimeout(done, 200));
      }
      says.textContent = "";
    } catch {
      says.textContent = "The camera cannot be used here; type the code.";
    }
    camera?.getTracks().forEach((track) => track.stop());
    video.remove();
    button.disabled = false;
  });
}

document.querySelectorAll("form[data-scan]").forEach((form) =>
  offerScan(form, (code) => {
    form.querySelector("[name=code]").value = code;
    form.requestSubmit();
    return true;
  }),
);

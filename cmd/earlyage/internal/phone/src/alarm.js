// What is urgent is felt and heard: vibration and a tone, where the phone can, and
// it says where it cannot.

let audio = null;

/** Called from a touch: browsers play nothing before one. */
export function unlock() {
  if (!("AudioContext" in window)) return;
  audio ??= new AudioContext();
  audio.resume().catch(() => {}); // canSound says so
}

export const sounds = () => audio?.state === "running";

/** Three bursts. Returns what the phone did. */
export function alarm(canVibrate) {
  const felt = canVibrate && navigator.vibrate([500, 200, 500, 200, 500]);
  if (sounds()) for (const at of [0, 0.7, 1.4]) tone(audio.currentTime + at);
  return { felt, heard: sounds() };
}

function tone(at) {
  const wave = audio.createOscillator(), loud = audio.createGain();
  wave.type = "square";
  wave.frequency.value = 1250;
  loud.gain.setValueAtTime(0.8, at);
  loud.gain.setValueAtTime(0, at + 0.45);
  wave.connect(loud).connect(audio.destination);
  wave.start(at);
  wave.stop(at + 0.5);
}

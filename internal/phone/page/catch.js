// What catches the sound, in the browser's own thread for that: it passes on what comes.
class Catch extends AudioWorkletProcessor {
  process(inputs) {
    if (inputs[0].length > 0) this.port.postMessage(inputs[0][0].slice());
    return true;
  }
}
registerProcessor("catch", Catch);

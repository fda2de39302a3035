// What the sensor gave and the server has not acknowledged.

const KEEP = 10000;  // ms of samples that are kept
const BUNCH = 100;   // ms between two frames
const MOST = 500;    // samples in a frame
const HEAD = 16, EACH = 32; // bytes

export class Outbox {
  kept = [];      // [run, ms, x, y, z], oldest first
  first = 0;      // number of the oldest kept
  sent = 0;       // number of the next to send
  run = 0;        // how often the page came back from the background
  ready = false;  // the server has said what it has
  last = 0;       // when the newest frame was sent
  dropped = 0;    // samples that could not be kept
  absent = 0;     // s in the background
  recent = [];    // [ms, x, y, z] of the last 3 s

  add(ms, x, y, z) {
    this.kept.push([this.run, ms, x, y, z]);
    this.recent.push([ms, x, y, z]);
    while (ms - this.recent[0][0] > 3000) this.recent.shift();
    while (ms - this.kept[0][1] > KEEP) {
      this.kept.shift();
      this.first++;
      this.dropped++;
    }
    this.sent = Math.max(this.sent, this.first);
  }

  // returned begins another run: the clock may have stood still.
  returned(seconds) {
    this.run++;
    this.absent += seconds;
    this.recent = [];
  }

  // acknowledge forgets what the server has; null: it has nothing, and any will do.
  acknowledge(have) {
    const end = this.first + this.kept.length;
    const next = Math.min(Math.max(have ?? this.first, this.first), end);
    this.kept.splice(0, next - this.first);
    this.first = next;
    if (!this.ready) this.sent = next;
    this.sent = Math.max(this.sent, next);
    this.ready = true;
  }

  flush(socket, now) {
    if (!this.ready || socket?.readyState !== WebSocket.OPEN || now - this.last < BUNCH || socket.bufferedAmount > 1e5) return;
    const end = this.first + this.kept.length;
    while (this.sent < end) {
      const from = this.sent - this.first;
      const run = this.kept[from][0];
      let n = 1;
      while (n < MOST && from + n < this.kept.length && this.kept[from + n][0] === run) n++;
      socket.send(this.frame(run, from, n, now));
      this.sent += n;
      this.last = now;
    }
  }

  frame(run, from, n, now) {
    const view = new DataView(new ArrayBuffer(HEAD + n * EACH));
    view.setUint32(0, run, true);
    view.setUint32(4, this.first + from, true);
    view.setFloat64(8, now, true);
    for (let i = 0; i < n; i++) {
      for (let k = 0; k < 4; k++) view.setFloat64(HEAD + i * EACH + 8 * k, this.kept[from + i][1 + k], true);
    }
    return view.buffer;
  }

  // waiting is how old the oldest sample is that was not acknowledged, ms.
  waiting(now) { return this.kept.length ? now - this.kept[0][1] : 0; }

  sentText() {
    const n = this.kept.length;
    return `${this.first} samples have arrived${n > 30 ? `, ${n} wait` : ""}.`;
  }
}

/* A page that is opened from the disk may not start a worker. The search of these pages then runs in a hidden
   frame instead, which is spoken to in the same way. */
if (location.protocol === "file:") {
  window.Worker = class extends EventTarget {
    constructor(address) {
      super();
      const frame = document.createElement("iframe");
      frame.hidden = true;
      document.body.append(frame);
      this.inside = frame.contentWindow;
      this.inside.postMessage = (data) => this.dispatchEvent(new MessageEvent("message", { data }));
      const script = frame.contentDocument.createElement("script");
      script.src = address;
      this.ready = new Promise((loaded) => script.addEventListener("load", loaded));
      frame.contentDocument.body.append(script);
    }

    async postMessage(data) {
      await this.ready;
      this.inside.dispatchEvent(new this.inside.MessageEvent("message", { data }));
    }
  };
}

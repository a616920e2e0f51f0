"""The real sound guide and voice. Loads Qt's multimedia only when switched on; without a device it stays silent."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QObject

from polewright.services.ports import Scheduler, Timer
from polewright.ui.listening import Listening
from polewright.ui.sound_plan import RATE_HZ, Phrase, render
from polewright.words.spoken import spoken


class SoundGuide(Listening):
    """Plays phrases through the default output; repeats them through a Scheduler, never a timer of its own."""

    def __init__(self, scheduler: Scheduler, parent: QObject) -> None:
        self._scheduler = scheduler
        self._parent = parent
        self._phrase: Phrase | None = None
        self._timer: Timer | None = None
        self._sink: Any = None
        self._buffer: QBuffer | None = None
        self._voice: Any = None
        self._deaf = False

    def play(self, phrase: Phrase) -> None:
        """Start a phrase; one that is already going keeps its beat."""
        if self._timer is not None and phrase.every_s is not None:
            self._phrase = phrase
            return
        self._phrase = phrase
        self._beat()

    def _beat(self) -> None:
        self._timer = None
        phrase = self._phrase
        if phrase is None:
            return
        self._sound(phrase)
        if phrase.every_s is not None:
            self._timer = self._scheduler.after(phrase.every_s, self._beat)
        else:
            self._phrase = None

    def _sound(self, phrase: Phrase) -> None:
        sink = self._output()
        if sink is None:
            return
        sink.stop()
        self._buffer = QBuffer(self._parent)
        self._buffer.setData(QByteArray(render(phrase).tobytes()))
        self._buffer.open(QIODevice.OpenModeFlag.ReadOnly)
        sink.start(self._buffer)

    def _output(self) -> Any:
        """The sink, made at first use; None where there is nothing to play on."""
        if self._sink is None and not self._deaf:
            from PySide6.QtMultimedia import QAudioFormat, QAudioSink, QMediaDevices

            device = QMediaDevices.defaultAudioOutput()
            wanted = QAudioFormat()
            wanted.setSampleRate(RATE_HZ)
            wanted.setChannelCount(1)
            wanted.setSampleFormat(QAudioFormat.SampleFormat.Int16)
            if device.isNull() or not device.isFormatSupported(wanted):
                self._deaf = True
            else:
                self._sink = QAudioSink(device, wanted, self._parent)
        return self._sink

    def say(self, sentence: str) -> None:
        """Speak, where the platform has a voice."""
        if self._voice is None:
            from PySide6.QtTextToSpeech import QTextToSpeech

            engines = [e for e in QTextToSpeech.availableEngines() if e != "mock"]
            self._voice = QTextToSpeech(engines[0], self._parent) if engines else False
        if self._voice:
            self._voice.stop()
            self._voice.say(spoken(sentence))

    def hush(self) -> None:
        self._phrase = None
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        if self._sink is not None:
            self._sink.stop()
        if self._voice:
            self._voice.stop()

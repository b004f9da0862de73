"""What SciPy makes of a WAV file: a check of Drywire's meters by other code.

Prints, a name and a number a line: RMS, the A-weighted RMS and the power spectral density summed over four bands by Welch's method
(scipy.signal.welch, periodic Hann window, half overlapping, no detrending), and the true peak by
band-limited interpolation of the whole file (scipy.signal.resample), silence around it.
The A weighting is the analytic curve of IEC 61672-1 Annex E applied to the whole file's spectrum.
"""
import sys

import numpy as np
from scipy.io import wavfile
from scipy.signal import resample, welch

rate, x = wavfile.read(sys.argv[1])
if x.dtype.kind == "i":
    x = x / float(2 ** (8 * x.dtype.itemsize - 1))
x = x.astype(float)

f = np.fft.rfftfreq(len(x), 1 / rate)
f1, f2, f3, f4 = 20.598997, 107.65265, 737.86223, 12194.217
a = f4**2 * f**4 / ((f**2 + f1**2) * np.sqrt((f**2 + f2**2) * (f**2 + f3**2)) * (f**2 + f4**2))
a /= np.interp(1000.0, f, a)
y = np.fft.irfft(np.fft.rfft(x) * a, len(x))

print("rms", np.sqrt(np.mean(x**2)))
print("a-weighted", np.sqrt(np.mean(y**2)))
w, p = welch(x, rate, window="hann", nperseg=4096, noverlap=2048, detrend=False)
for low, high in ((0, 500), (500, 2000), (2000, 8000), (8000, 20000)):
    band = (w >= low) & (w < high)
    print(f"power-{low}", p[band].sum() * (w[1] - w[0]))
padded = np.pad(x, (8192, 8192 + -len(x) % 8192))
print("true-peak", np.abs(resample(padded, 8 * len(padded))).max())

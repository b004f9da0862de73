#!/bin/sh
# Makes the WAV files of this folder: a 1 kHz tone of half scale, 61 frames (an odd count, so that 8- and
# 24-bit mono data need a pad byte); the second channel of the stereo files is a cosine of a quarter scale.
# SoX v14.4.2, FFmpeg 5.1.9.
set -e
for b in 8 16 24 32; do
	sox -D -n -r 48000 -c 1 -b $b -e $([ $b = 8 ] && echo unsigned || echo signed) sox-int$b.wav synth 61s sine 1000 vol 0.5
done
for b in 32 64; do sox -D -n -r 48000 -c 1 -b $b -e floating-point sox-float$b.wav synth 61s sine 1000 vol 0.5; done
sox -D -n -r 48000 -c 1 -b 24 -t wav - synth 61s sine 1000 vol 0.5 | cat > sox-pipe.wav # the data size is a guess
tone='aevalsrc=0.5*sin(2*PI*1000*t):s=48000:n=61:d=0.00127'
both='aevalsrc=0.5*sin(2*PI*1000*t)|0.25*cos(2*PI*1000*t):s=48000:n=61:d=0.00127'
ff() { ffmpeg -v error -y -f lavfi -i "$@"; }
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s24le ffmpeg-int24-list.wav # with a LIST chunk that names the encoder
ff "$both" -af atrim=end_sample=61 -c:a pcm_s24le -bitexact ffmpeg-int24-stereo.wav
ff "$both" -af atrim=end_sample=61 -c:a pcm_u8 -bitexact ffmpeg-int8-stereo.wav
ff "$both" -af atrim=end_sample=61 -c:a pcm_f32le -bitexact ffmpeg-float32-stereo.wav
ff "$tone" -af atrim=end_sample=61 -c:a pcm_f64le -bitexact ffmpeg-float64.wav
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s32le -bitexact ffmpeg-int32.wav
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s16le -f wav - > ffmpeg-pipe.wav # data size 0xFFFFFFFF
ff "aevalsrc=0.5*sin(2*PI*1000*t):s=192000:d=0.00127" -af atrim=end_sample=61 -c:a pcm_s16le -bitexact ffmpeg-192k.wav
ff "$tone" -af atrim=end_sample=61 -c:a adpcm_ms -bitexact ffmpeg-adpcm.wav
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s16le -bitexact -rf64 always ffmpeg-rf64.wav
# AIFF, AIFF-C and the 64-bit kinds of WAV; sndfile-convert 1.2.0.
for b in 8 16 24 32; do sox -D -n -r 48000 -c 1 -b $b sox-aiff$b.aiff synth 61s sine 1000 vol 0.5; done
sox -D -n -r 48000 -c 1 -b 24 -t aiff - synth 61s sine 1000 vol 0.5 2>/dev/null | cat > sox-pipe.aiff # the lengths are a guess
ff "$both" -af atrim=end_sample=61 -c:a pcm_s16be -bitexact ffmpeg-aiff16-stereo.aiff
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s16le -bitexact ffmpeg-sowt.aiff
ff "$tone" -af atrim=end_sample=61 -c:a pcm_f32be -bitexact ffmpeg-fl32.aiff
ff "$tone" -af atrim=end_sample=61 -c:a pcm_f64be -bitexact ffmpeg-fl64.aiff
ff "$both" -af atrim=end_sample=61 -c:a pcm_s24le -bitexact ffmpeg-w64-stereo.w64
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s24le -f w64 - > ffmpeg-pipe.w64 # lengths of all ones but the sign
ff "$tone" -af atrim=end_sample=61 -c:a pcm_s16le -f wav -rf64 always - > ffmpeg-pipe-rf64.wav
sox -D -n -r 48000 -c 1 -b 24 sox-w64.w64 synth 61s sine 1000 vol 0.5
sndfile-convert -override-sample-rate=48000 -pcm24 sox-int24.wav sndfile-rf64.rf64 && mv sndfile-rf64.rf64 sndfile-rf64.wav
sndfile-convert -float32 ffmpeg-float32-stereo.wav sndfile-float32-stereo.w64
sndfile-convert -float32 ffmpeg-float32-stereo.wav sndfile-float32-stereo.aifc
# Coded: flac 1.4.2, LAME 3.100, oggenc 1.4.2. The lossy ones are longer, since a coder takes its time.
flac -s -f --no-padding -o flac-int16.flac sox-int16.wav
flac -s -f -8 --no-padding -o flac-int24-stereo.flac ffmpeg-int24-stereo.wav
sox -D -n -r 48000 -c 1 -b 8 sox-int8.flac synth 61s sine 1000 vol 0.5
ff "$tone" -af atrim=end_sample=61 -c:a flac -sample_fmt s32 -bits_per_raw_sample 24 -f flac - > ffmpeg-pipe.flac # neither length nor checksum
sox -D -n -r 48000 -c 1 -b 16 long.wav synth 4001s sine 1000 vol 0.5
sox -D -n -r 44100 -c 2 -b 16 long2.wav synth 4001s sine 1000 vol 0.5
lame --quiet -b 160 long.wav lame.mp3
lame --quiet -V 4 long2.wav lame-vbr-stereo.mp3
ffmpeg -v error -y -i long.wav -b:a 64k -write_xing 0 -id3v2_version 0 ffmpeg-bare.mp3 # without the trim
ffmpeg -v error -y -i long.wav -b:a 64k -metadata title=x ffmpeg-tagged.mp3
oggenc -Q -q 8 -s 1 -o oggenc.ogg long.wav
oggenc -Q -q 8 -s 1 -o oggenc-stereo.ogg long2.wav
ffmpeg -v error -y -i long.wav -c:a libvorbis -q:a 8 ffmpeg.ogg
ffmpeg -v error -y -i sox-int16.wav -c:a libopus opus.ogg
rm long.wav long2.wav

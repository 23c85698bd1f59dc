"""Hashes by the reference implementation of Argon2 (libargon2 of Debian 12, 0~20171227),
for hash_test.go: each line is a password and its PHC string."""
import ctypes

lib = ctypes.CDLL("libargon2.so.1")
call = lib.argon2id_hash_encoded
u, s, z = ctypes.c_uint32, ctypes.c_char_p, ctypes.c_size_t
call.argtypes = [u, u, u, s, z, s, z, z, s, z]
for t, m, p, password, salt, size in [
    (2, 65536, 1, "password", b"somesalt", 32),
    (3, 65536, 4, "four words make one", b"0123456789abcdef", 32),
    (1, 64, 1, "four words make one", b"0123456789abcdef", 32),
    (2, 256, 2, "Käse und Brot zum Frühstück", b"0123456789abcdef", 24),
]:
    out, word = ctypes.create_string_buffer(256), password.encode()
    if call(t, m, p, word, len(word), salt, len(salt), size, out, 256):
        raise SystemExit("libargon2 refused")
    print(password + "\t" + out.value.decode())

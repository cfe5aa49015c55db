// Random bytes.
#pragma once

#include <cstddef>
#include <vector>

namespace platter::test {

template <typename Random>
std::vector<std::byte> noise(Random& random, std::size_t count) {
  std::vector<std::byte> bytes(count);
  for (std::byte& byte : bytes)
    byte = static_cast<std::byte>(random() >> 5U & 0xFFU);
  return bytes;
}

}  // namespace platter::test
